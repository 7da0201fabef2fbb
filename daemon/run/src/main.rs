//! The binary: reads the command line, does the command, ends with an exit code that scripts can
//! rely on: 0 done, 1 failed, 2 wrong use, 78 settings refused.

mod commands;
mod event_loop;
mod host;
mod record;
mod recording;
mod settings;
mod start;

use std::process::ExitCode;

use clap::Parser;
use commands::{
    answer, bank, check, check_alarms,
    cli::{self, Cli, Command},
    export,
    failed::Failed,
    now, outing, phone, plan, replay,
};
use host::log;

fn main() -> ExitCode {
    let cli = Cli::parse();
    log::begin();
    let done = match cli.command {
        None => run(&cli.run),
        Some(Command::Run(options)) => run(&options),
        Some(Command::Now(look)) => now::now(&look),
        Some(Command::Pin(look)) => now::pin(&look),
        Some(Command::Phone(command)) => phone::run(&command),
        Some(Command::Answer(options)) => answer::run(&options),
        Some(Command::Check(options)) => check(&options),
        Some(Command::Plan(options)) => plan::run(&options),
        Some(Command::Replay(options)) => replay::run(&options),
        Some(Command::Outing(command)) => outing::run(&command),
        Some(Command::Bank(command)) => bank::run(&command),
        Some(Command::Export(options)) => export::run(&options),
    };
    done.map_or_else(commands::failed::Failed::exit, |()| ExitCode::SUCCESS)
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
