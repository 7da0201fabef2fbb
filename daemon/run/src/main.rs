//! The binary: reads the command line, does the command, ends with an exit code that scripts can
//! rely on: 0 done, 1 failed, 2 wrong use, 78 settings refused.

mod commands;
mod event_loop;
mod host;
mod record;
mod settings;
mod start;

use std::process::ExitCode;

use clap::Parser;
use commands::{
    check, check_alarms,
    cli::{self, Cli, Command},
    now, replay,
};
use host::log;

/// `EX_CONFIG` of sysexits.h; the unit does not restart after it.
const SETTINGS_REFUSED: u8 = 78;

fn main() -> ExitCode {
    let cli = Cli::parse();
    log::begin();
    let done = match cli.command {
        None => run(&cli.run),
        Some(Command::Run(options)) => run(&options),
        Some(Command::Now(look)) => now::now(&look),
        Some(Command::Pin(look)) => now::pin(&look),
        Some(Command::Answer(options)) => commands::answer(&options),
        Some(Command::Check(options)) => check(&options),
        Some(Command::Replay(options)) => replay::run(&options),
        Some(Command::Outing(command)) => commands::outing(&command),
        Some(Command::Bank(command)) => commands::bank(&command),
        Some(Command::Export(options)) => commands::export(&options),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(Failed { say, code }) => {
            tracing::error!("{say}");
            ExitCode::from(code)
        }
    }
}

/// Why a command failed.
pub(crate) struct Failed {
    say: String,
    code: u8,
}

impl From<String> for Failed {
    fn from(say: String) -> Self {
        Self { say, code: 1 }
    }
}

impl From<settings::Refused> for Failed {
    fn from(refused: settings::Refused) -> Self {
        Self { say: refused.to_string(), code: SETTINGS_REFUSED }
    }
}

fn run(options: &cli::Run) -> Result<(), Failed> {
    let (settings, source) = if options.demo && options.settings.is_none() {
        Default::default()
    } else {
        settings::find(options.settings.as_deref())?
    };
    Ok(start::run(options, settings, source.as_deref())?)
}

fn check(options: &cli::Check) -> Result<(), Failed> {
    let (settings, _) = settings::find(options.settings.as_deref())?;
    if options.alarms {
        return check_alarms::run(options, &settings);
    }
    check::run(options, settings.sensors)
}
