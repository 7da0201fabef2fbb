//! What the journal is told: changes, once, when a source falls silent or comes back and when an
//! alarm comes or goes.

use std::sync::Arc;

use reckon::{
    engine::{AlarmChange, Edge},
    reading::{Gap, SourceReport, SourceState},
    snapshot::Snapshot,
    time::Mono,
    words,
};

use crate::host::now_text::{plain_spaces, span};

/// Remembers how the sources were.
#[derive(Default)]
pub(crate) struct Journal {
    sources: Arc<[SourceReport]>,
}

impl Journal {
    /// Tells what has changed since the last look.
    pub(crate) fn observe(&mut self, snapshot: &Snapshot, edges: &[Edge]) {
        if !Arc::ptr_eq(&self.sources, &snapshot.sources) {
            for line in changes(&self.sources, &snapshot.sources, snapshot.at.mono) {
                tracing::info!("{line}");
            }
            self.sources = Arc::clone(&snapshot.sources);
        }
        for edge in edges {
            let said = plain_spaces(&words::edge(edge, snapshot));
            match edge.change {
                AlarmChange::Raised | AlarmChange::Changed => tracing::warn!("{said}"),
                AlarmChange::Cleared { .. } => tracing::info!("{said}"),
            }
        }
    }
}

fn changes(before: &[SourceReport], after: &[SourceReport], at: Mono) -> Vec<String> {
    let mut lines = Vec::new();
    for (ix, now) in after.iter().enumerate() {
        let title = &now.title;
        // The first value is still to come: that is no news.
        if matches!(now.state, SourceState::Silent { gap: Gap::NotReady, .. }) {
            continue;
        }
        let old = before.get(ix).map(|b| b.state);
        if matches!(old, Some(SourceState::Silent { gap: Gap::NotReady, .. })) {
            continue; // its first value, a second or two after the start
        }
        let line = match (old, now.state) {
            (None, SourceState::Live) => format!("found: {title}"),
            (None, SourceState::LeftAlone) => format!("left alone: {title}"),
            (Some(SourceState::Silent { since, .. }), SourceState::Live) => {
                words::journal::answers_again(&title, &span(at.since(since)))
            }
            (
                None | Some(SourceState::Live | SourceState::LeftAlone),
                SourceState::Silent { gap, .. },
            ) => {
                format!("{title} {}. {}", words::gap(gap), words::gap_remedy(gap))
            }
            _ => continue,
        };
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use reckon::reading::{Role, Via};

    fn source(state: SourceState) -> SourceReport {
        SourceReport {
            id: "lead".into(),
            title: "Sensor in the lead".into(),
            via: Via::Invented,
            role: Role::Bank,
            state,
            shunt: None,
            notes: Vec::new(),
        }
    }

    #[test]
    fn silence_is_told_once_and_so_is_the_return() {
        let (at, later) = (Mono::at_s(60.0), Mono::at_s(300.0));
        let live = [source(SourceState::Live)];
        let silent = [source(SourceState::Silent { since: at, gap: Gap::Gone })];
        let waiting = [source(SourceState::Silent { since: at, gap: Gap::NotReady })];
        assert_eq!(changes(&[], &waiting, at), Vec::<String>::new());
        assert_eq!(changes(&[], &live, at), ["found: Sensor in the lead"]);
        let fell = changes(&live, &silent, at);
        assert!(fell.len() == 1 && fell[0].starts_with("Sensor in the lead has disappeared. "));
        assert_eq!(changes(&silent, &silent, later), Vec::<String>::new());
        assert_eq!(
            changes(&silent, &live, later),
            ["Sensor in the lead answers again after 4 min"]
        );
    }
}
