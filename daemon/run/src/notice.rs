//! What the journal is told: changes, once, when a source falls silent or comes back and when an
//! alarm comes or goes.

use std::sync::Arc;

use reckon::{
    engine::{Change, Edge},
    reading::{SourceReport, SourceState},
    snapshot::Snapshot,
    time::Mono,
    words,
};

use crate::glance::{plain_spaces, span};

/// Remembers how the sources were.
#[derive(Default)]
pub(crate) struct Notice {
    sources: Arc<[SourceReport]>,
}

impl Notice {
    /// Tells what has changed since the last look.
    pub(crate) fn look(&mut self, shot: &Snapshot, edges: &[Edge]) {
        if !Arc::ptr_eq(&self.sources, &shot.sources) {
            for line in changes(&self.sources, &shot.sources, shot.at.mono) {
                tracing::info!("{line}");
            }
            self.sources = Arc::clone(&shot.sources);
        }
        for edge in edges {
            let said = plain_spaces(&words::edge(edge, shot));
            match edge.change {
                Change::Raised | Change::Changed => tracing::warn!("{said}"),
                Change::Cleared { .. } => tracing::info!("{said}"),
            }
        }
    }
}

fn changes(before: &[SourceReport], after: &[SourceReport], at: Mono) -> Vec<String> {
    let mut lines = Vec::new();
    for (ix, now) in after.iter().enumerate() {
        let title = &now.title;
        let line = match (before.get(ix).map(|b| b.state), now.state) {
            (None, SourceState::Live) => format!("found: {title}"),
            (None, SourceState::LeftAlone) => format!("left alone: {title}"),
            (Some(SourceState::Silent { since, .. }), SourceState::Live) => {
                format!("{title} answers again after {}", span(at.since(since)))
            }
            (
                None | Some(SourceState::Live | SourceState::LeftAlone),
                SourceState::Silent { gap, .. },
            ) => {
                format!("{title} is silent: {}", words::gap(gap))
            }
            _ => continue,
        };
        lines.push(line);
    }
    lines
}
