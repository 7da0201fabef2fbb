//! The command line: what can be typed, and its help. Also read by the example that writes the man
//! pages, so nothing here may depend on the rest.

use std::{net::SocketAddr, path::PathBuf};

use clap::{Args, Parser, Subcommand};

/// How long the battery of a portable radio station lasts, and how sure that is.
///
/// Started without a command, outlast does what `outlast run` does.
#[derive(Debug, Parser)]
#[command(name = "outlast", version, after_help = EXIT_CODES, args_conflicts_with_subcommands = true)]
pub(crate) struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub(crate) command: Option<Command>,
    /// Options of `run`, when no command is given.
    #[command(flatten)]
    pub(crate) run: Run,
}

const EXIT_CODES: &str = "Exit codes: 0 done; 1 failed; 2 wrong use; 78 settings refused.";

/// The commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Watch the bank and serve the page
    Run(Run),
    /// One glance in the terminal, from the running outlast
    Now(Look),
    /// What was found on this board, what each source reads, and what is missing
    ///
    /// Reads every sensor itself, whether outlast runs or not.
    Check(Check),
    /// The code that lets a phone change things
    Pin(Look),
    /// The forecasts that recorded outings of one bank would have had, in order
    ///
    /// Each file is one outing as CSV with the header t_s,cpu_util,cpu_temp_c,bus_v,current_a
    /// (seconds since power-on; an empty field was not read; further columns are passed over). The
    /// bank begins each one full and is learned from after each.
    Replay(Replay),
}

/// Options of `run`.
#[derive(Args, Clone, Debug, Default)]
pub(crate) struct Run {
    /// Settings file [default: /etc/outlast/outlast.toml or your own, if there is one]
    #[arg(long, value_name = "FILE")]
    pub(crate) settings: Option<PathBuf>,
    /// Folder that keeps what must survive a restart [default: the system's or your own]
    #[arg(long, value_name = "DIR")]
    pub(crate) state: Option<PathBuf>,
    /// Address and port of the page [default: 0.0.0.0:8073]
    #[arg(long, value_name = "ADDR:PORT")]
    pub(crate) listen: Option<SocketAddr>,
    /// Read /sys, /proc, /run and /dev below this folder: virtual boards, tests
    #[arg(long, value_name = "DIR")]
    pub(crate) sysroot: Option<PathBuf>,
    /// Play a made-up outing with time sped up; touches no sensor and keeps nothing
    #[arg(long)]
    pub(crate) demo: bool,
    /// How many times faster than life the demonstration runs, 1 to 600
    #[arg(long, value_name = "TIMES", default_value_t = 60, requires = "demo",
          value_parser = clap::value_parser!(u16).range(1..=600))]
    pub(crate) demo_speed: u16,
}

/// Options of the commands that ask the running outlast.
#[derive(Args, Clone, Debug)]
pub(crate) struct Look {
    /// Print JSON instead of sentences
    #[arg(long)]
    pub(crate) json: bool,
    /// Socket of the running outlast [default: where `run` puts it]
    #[arg(long, value_name = "FILE")]
    pub(crate) socket: Option<PathBuf>,
}

/// Options of `replay`.
#[derive(Args, Clone, Debug)]
pub(crate) struct Replay {
    /// The bank: a TOML file with the tables [bank] and, optionally, [draw] of the settings
    #[arg(long, value_name = "BANK.toml")]
    pub(crate) bank: PathBuf,
    /// One forecast each so many seconds of the recording
    #[arg(long, value_name = "SECONDS", default_value_t = 600,
          value_parser = clap::value_parser!(u32).range(1..))]
    pub(crate) every: u32,
    /// Print JSON, one object a line, instead of sentences
    #[arg(long)]
    pub(crate) json: bool,
    /// Recorded outings, oldest first: FILE[:died|:stopped][:from=0.7|:unknown][:ambient=6]
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<String>,
}

/// Options of `check`.
#[derive(Args, Clone, Debug)]
pub(crate) struct Check {
    /// Try each way out once instead, and say what happened: webhooks, commands, LED
    #[arg(long)]
    pub(crate) alarms: bool,
    /// Print JSON instead of sentences
    #[arg(long)]
    pub(crate) json: bool,
    /// Settings file [default: /etc/outlast/outlast.toml or your own, if there is one]
    #[arg(long, value_name = "FILE")]
    pub(crate) settings: Option<PathBuf>,
    /// Read /sys, /proc, /run and /dev below this folder: virtual boards, tests
    #[arg(long, value_name = "DIR")]
    pub(crate) sysroot: Option<PathBuf>,
}
