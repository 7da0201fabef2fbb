//! The command line: what can be typed, and its help. Also read by the example that writes the man
//! pages, so nothing here may depend on the rest.

use std::{net::SocketAddr, path::PathBuf};

use clap::{
    Args, Parser, Subcommand,
    builder::{PossibleValue, PossibleValuesParser},
};
use reckon::{
    bank::{Cells, MeasuredAt},
    words,
};

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
    /// How things stand now, from the running outlast
    Now(Look),
    /// What was found on this board, what each source reads, and what is missing
    ///
    /// Reads every sensor itself, whether outlast runs or not.
    Check(Check),
    /// A code that lets a phone change things: good for one phone and a few minutes
    Pin(Look),
    /// The phones that may change things: the list, end one, end all
    #[command(subcommand)]
    Phone(Phone),
    /// The forecasts that recorded outings of one bank would have got, in order
    ///
    /// Each file is one outing as CSV with the header t_s,cpu_util,cpu_temp_c,bus_v,current_a
    /// (seconds since power-on; empty means not read; other columns are ignored). The bank starts
    /// each outing full, and what it delivers is learned from each.
    Replay(Replay),
    /// Will it carry the outing? How long a bank lasts for what you plan to do
    ///
    /// The plan is a TOML file: [bank] and [draw] as in the settings (or known = "its name" for a bank of the
    /// record), then one [[stretch]] after the other with its hours and what is done in it. docs/plan.md names
    /// every key. Whatever is not told is assumed, and the answer says so.
    Plan(Plan),
    /// What only you know: which bank, how full, how it ended
    ///
    /// Without a question it lists the open questions, and what was answered or inferred. An answer
    /// takes effect at once; --back undoes it.
    Answer(Answer),
    /// Outings: the list, one of them, its name, how it ended
    #[command(subcommand)]
    Outing(Outing),
    /// Banks: the list, what each was seen to deliver, run-downs
    #[command(subcommand)]
    Bank(Bank),
    /// An outing as CSV or JSON, or a whole copy of the record
    ///
    /// The first columns of the CSV (RFC 4180) are those that `outlast replay` reads. The copy opens
    /// in any SQLite tool and explains its tables itself.
    Export(Export),
}

/// How the record is reached: through the running outlast, else in its folder.
#[derive(Args, Clone, Debug)]
pub(crate) struct Reach {
    /// Socket of the running outlast [default: where `run` puts it]
    #[arg(long, value_name = "FILE")]
    pub(crate) socket: Option<PathBuf>,
    /// Folder of the record, for when no outlast runs [default: the system's or your own]
    #[arg(long, value_name = "DIR")]
    pub(crate) state: Option<PathBuf>,
}

/// Options of `answer`.
#[derive(Args, Clone, Debug)]
pub(crate) struct Answer {
    /// Which question: since-last, swapped, how-full, how-ended or bank-changed
    pub(crate) question: Option<String>,
    /// The answer, as the list prints it; of how-full also any level from 0.02 to 1
    #[arg(requires = "question")]
    pub(crate) answer: Option<String>,
    /// Undo the answer
    #[arg(long, requires = "question", conflicts_with = "answer")]
    pub(crate) back: bool,
    #[command(flatten)]
    pub(crate) look: Look,
}

/// What can be done with outings. An OUTING is its number in the list, or `last`.
#[derive(Debug, Subcommand)]
pub(crate) enum Outing {
    /// The outings, newest first
    List {
        /// How many at most
        #[arg(long, value_name = "COUNT", default_value_t = 20,
              value_parser = clap::value_parser!(u16).range(1..=500))]
        most: u16,
        /// Only those before this one
        #[arg(long, value_name = "OUTING")]
        before: Option<i64>,
        /// Print JSON instead of a table
        #[arg(long)]
        json: bool,
        #[command(flatten)]
        reach: Reach,
    },
    /// One outing's report: how long, where the energy went, how good the forecasts were
    Show {
        /// Which
        outing: String,
        /// Print JSON instead of sentences
        #[arg(long)]
        json: bool,
        /// Write it to this file instead, as one page that needs nothing else
        #[arg(long, value_name = "FILE", conflicts_with = "json")]
        html: Option<PathBuf>,
        #[command(flatten)]
        reach: Reach,
    },
    /// Give an outing a name
    Name {
        /// Which
        outing: String,
        /// The name; empty removes it
        name: String,
        #[command(flatten)]
        reach: Reach,
    },
    /// Correct what was being done during a part of an outing
    Doing {
        /// Which
        outing: String,
        /// From: hours and minutes since it began, 1:20
        #[arg(value_parser = since)]
        from: f64,
        /// To
        #[arg(value_parser = since)]
        to: f64,
        /// The activity; empty: none
        activity: String,
        #[command(flatten)]
        reach: Reach,
    },
    /// Count the contacts of the contact log as an activity
    DoingByContacts {
        /// Which
        outing: String,
        /// The activity
        activity: String,
        #[command(flatten)]
        reach: Reach,
    },
    /// Undo a correction; `outlast outing show` lists the numbers
    DoingBack {
        /// Which
        outing: String,
        /// The number of the correction, or `contacts`: all that came from the contact log
        correction: String,
        #[command(flatten)]
        reach: Reach,
    },
    /// Say that an earlier outing goes on: the same bank, not charged since
    GoesOn {
        /// Which; `last` is the one before the current outing
        outing: String,
        /// It does not: the bank was charged
        #[arg(long)]
        charged: bool,
        #[command(flatten)]
        reach: Reach,
    },
    /// Say how an outing ended that lost its power
    Ended {
        /// Which
        outing: String,
        /// What happened
        how: How,
        #[command(flatten)]
        reach: Reach,
    },
    /// Import a contact log, ADI or ADX, and say what came of it
    ///
    /// Importing the same log again adds nothing. Only the time, band and mode of each contact are
    /// kept; the other stations' calls too if the settings of the running outlast ask for them.
    Contacts {
        /// The log; `-` reads standard input
        #[arg(required_unless_present = "take_back")]
        file: Option<PathBuf>,
        /// Remove the contacts of this outing from the record instead
        #[arg(long, value_name = "OUTING", conflicts_with_all = ["file", "json"])]
        take_back: Option<String>,
        /// Print JSON instead of sentences
        #[arg(long)]
        json: bool,
        #[command(flatten)]
        reach: Reach,
    },
}

/// What can be done with paired phones. A PHONE is its number in the list.
#[derive(Debug, Subcommand)]
pub(crate) enum Phone {
    /// The paired phones, the one last used first
    List {
        #[command(flatten)]
        look: Look,
    },
    /// End the pairing of a phone: it can look, and must be paired again to change anything
    End {
        /// Which
        #[arg(required_unless_present = "all")]
        phone: Option<u32>,
        /// All of them
        #[arg(long, conflicts_with = "phone")]
        all: bool,
        /// Socket of the running outlast [default: where `run` puts it]
        #[arg(long, value_name = "FILE")]
        socket: Option<PathBuf>,
    },
}

/// How the power went away.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
pub(crate) enum How {
    /// The bank was empty
    Died,
    /// Its plug was pulled
    Unplugged,
}

/// What can be done with banks. A BANK is its name or its number in the list.
#[derive(Debug, Subcommand)]
pub(crate) enum Bank {
    /// The banks and what each is expected to hold
    List {
        /// Print JSON instead of a table
        #[arg(long)]
        json: bool,
        #[command(flatten)]
        reach: Reach,
    },
    /// One bank with its run-downs
    Show {
        /// Which
        bank: String,
        /// Print JSON instead of sentences
        #[arg(long)]
        json: bool,
        #[command(flatten)]
        reach: Reach,
    },
    /// Add a bank, or replace one of the same name
    Add {
        /// Its name
        name: String,
        #[command(flatten)]
        label: Label,
        #[command(flatten)]
        reach: Reach,
    },
    /// Give a bank another name
    Rename {
        /// Which
        bank: String,
        /// The new name
        name: String,
        #[command(flatten)]
        reach: Reach,
    },
    /// Do not offer a bank any more; its outings and run-downs stay
    Forget {
        /// Which
        bank: String,
        /// Offer it again
        #[arg(long)]
        undo: bool,
        #[command(flatten)]
        reach: Reach,
    },
    /// Start a run-down test: the bank is full and connected now, and is run until it cuts out
    ///
    /// Stay near it: a bank that is run down gets warm. The test survives the end of the bank and
    /// is counted at the next start. Lead-acid batteries should not be run down often.
    Rundown {
        /// Which
        #[arg(required_unless_present = "stop")]
        bank: Option<String>,
        /// What the board does meanwhile
        #[arg(long, value_enum, default_value = "as-it-is")]
        load: Load,
        /// Stop the test; what was measured counts as cut short
        #[arg(long, conflicts_with = "bank")]
        stop: bool,
        #[command(flatten)]
        reach: Reach,
    },
    /// Do not count a run-down: nothing learns from it any more
    Strike {
        /// Its number, as `outlast bank show` prints it
        rundown: i64,
        /// Count it again
        #[arg(long)]
        undo: bool,
        #[command(flatten)]
        reach: Reach,
    },
    /// Import an earlier run-down: a recorded outing, or a list of time stamps until the bank cut out
    ///
    /// A recorded outing is CSV: what `outlast export --csv` wrote on another board, or the columns
    /// that `outlast replay` reads. It teaches what it would have taught if it had been recorded
    /// here. An export says by itself which bank it was and how it ended; of other recordings say it:
    /// without a word they count as begun full and stopped, so that the bank held at least that.
    #[command(allow_missing_positional = true)]
    Import {
        /// Which [default: the one that the recording names]
        bank: Option<String>,
        /// FILE[:died|:stopped][:from=0.7|:unknown][:ambient=6]; `-` reads standard input
        #[arg(value_name = "FILE", required = true)]
        file: String,
        /// A name for it [default: the outing's, else the file's]
        #[arg(long)]
        name: Option<String>,
        #[command(flatten)]
        reach: Reach,
    },
}

/// A bank's label.
#[derive(Args, Clone, Debug)]
pub(crate) struct Label {
    /// Capacity on the label, mAh
    #[arg(long, value_name = "MAH")]
    pub(crate) label_mah: f64,
    /// Voltage that this capacity is for, whole pack [default: usual for the cells]
    #[arg(long, value_name = "VOLTS")]
    pub(crate) label_v: Option<f64>,
    /// What the cells are made of
    #[arg(long, value_parser = cells(), default_value = Cells::default().name())]
    pub(crate) cells: String,
    /// Cells in series [default: usual for the cells]
    #[arg(long)]
    pub(crate) series: Option<u8>,
    /// Where the sensor sits
    #[arg(long, value_parser = places())]
    pub(crate) measured_at: Option<String>,
    /// Temperature around it, degrees Celsius
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    pub(crate) ambient_c: Option<f64>,
    /// Voltage at which the load is cut off
    #[arg(long, value_name = "VOLTS")]
    pub(crate) cutoff_v: Option<f64>,
}

fn cells() -> PossibleValuesParser {
    let value = |one: Cells| PossibleValue::new(one.name()).help(words::cells_hint(one));
    PossibleValuesParser::new(Cells::ALL.map(value))
}

fn places() -> PossibleValuesParser {
    let value = |one: MeasuredAt| PossibleValue::new(one.name()).help(words::place_hint(one));
    PossibleValuesParser::new(MeasuredAt::ALL.map(value))
}

/// What the board does in a run-down test.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
pub(crate) enum Load {
    /// What it does anyway
    AsItIs,
    /// Nothing is started
    Idle,
    /// Bursts, like a receive-only timed mode
    Receive,
    /// Steps from idle to all cores
    Steps,
}

/// Options of `export`.
#[derive(Args, Clone, Debug)]
#[command(group(clap::ArgGroup::new("what").required(true).args(["csv", "json", "close_ups", "store"])))]
pub(crate) struct Export {
    /// Which outing: its number in the list, or `last`
    #[arg(required_unless_present = "store")]
    pub(crate) outing: Option<String>,
    /// As CSV
    #[arg(long)]
    pub(crate) csv: bool,
    /// As JSON
    #[arg(long)]
    pub(crate) json: bool,
    /// Every second around events, as CSV: t_s,volts_v,power_w,why
    #[arg(long)]
    pub(crate) close_ups: bool,
    /// A whole copy of the record into this file
    #[arg(long, value_name = "FILE", conflicts_with_all = ["outing", "out"])]
    pub(crate) store: Option<PathBuf>,
    /// Into this file instead of standard output
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) reach: Reach,
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
    /// Play a made-up day with time sped up; touches no sensor, and keeps nothing unless --state
    /// says where
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
    /// Seconds of the recording between forecasts
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

/// Options of `plan`.
#[derive(Args, Clone, Debug)]
pub(crate) struct Plan {
    /// Print JSON instead of sentences
    #[arg(long)]
    pub(crate) json: bool,
    /// An outing of this bank that was recorded elsewhere, oldest first:
    /// FILE[:died|:stopped][:from=0.7|:unknown][:ambient=6]
    #[arg(long, value_name = "FILE")]
    pub(crate) learn: Vec<String>,
    /// The plan; `-` reads standard input
    #[arg(value_name = "PLAN.toml")]
    pub(crate) plan: PathBuf,
    #[command(flatten)]
    pub(crate) reach: Reach,
}

/// Options of `check`.
#[derive(Args, Clone, Debug)]
pub(crate) struct Check {
    /// Test each way of warning once instead, and say what happened: webhooks, commands, LED
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

/// `1:20` or `1:20:30` in seconds.
fn since(typed: &str) -> Result<f64, String> {
    let parts: Option<Vec<u32>> = typed.split(':').map(|part| part.parse().ok()).collect();
    let seconds = match parts.as_deref() {
        Some([hours @ 0..10_000, minutes @ 0..60]) => Some(hours * 3600 + minutes * 60),
        Some([hours @ 0..10_000, minutes @ 0..60, seconds @ 0..60]) => {
            Some(hours * 3600 + minutes * 60 + seconds)
        }
        _ => None,
    };
    seconds
        .map(f64::from)
        .ok_or_else(|| "hours and minutes since it began, such as 1:20".to_owned())
}
