//! What goes to the terminal or the journal: sentences, each with its weight. Under systemd a line
//! begins with the weight as the journal reads it; in a terminal with a word.

use std::{env, fmt, io::IsTerminal};

use tracing::{Event, Level, Subscriber, level_filters::LevelFilter};
use tracing_subscriber::{
    fmt::{
        FmtContext, FormatEvent, FormatFields,
        format::{DefaultFields, Writer},
    },
    registry::LookupSpan,
};

/// Begins logging to standard error. A second call changes nothing.
pub(crate) fn begin() {
    let journal = env::var_os("JOURNAL_STREAM").is_some() && !std::io::stderr().is_terminal();
    let logger = tracing_subscriber::fmt()
        .with_max_level(LevelFilter::INFO)
        .fmt_fields(DefaultFields::new())
        .with_ansi(false)
        .event_format(Plain { journal })
        .with_writer(std::io::stderr);
    if logger.try_init().is_err() {
        tracing::debug!("logging had begun already");
    }
}

struct Plain {
    journal: bool,
}

/// The journal's weights: sd-daemon(3).
fn weight(level: Level) -> &'static str {
    match level {
        Level::ERROR => "<3>",
        Level::WARN => "<4>",
        Level::INFO => "<6>",
        _ => "<7>",
    }
}

fn word(level: Level) -> &'static str {
    match level {
        Level::ERROR => "Error: ",
        Level::WARN => "Warning: ",
        _ => "",
    }
}

impl<S, N> FormatEvent<S, N> for Plain
where
    S: Subscriber + for<'a> LookupSpan<'a>,
    N: for<'a> FormatFields<'a> + 'static,
{
    fn format_event(
        &self,
        ctx: &FmtContext<'_, S, N>,
        mut to: Writer<'_>,
        event: &Event<'_>,
    ) -> fmt::Result {
        let level = *event.metadata().level();
        to.write_str(if self.journal { weight(level) } else { word(level) })?;
        ctx.format_fields(to.by_ref(), event)?;
        writeln!(to)
    }
}
