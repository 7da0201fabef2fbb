//! `outlast replay`: plays recorded outings of one bank, in order, through the estimator that also
//! runs live, and prints the forecasts it would have made. For judging, and for tuning settings.
//!
//! Every file is one outing: CSV with a header, seconds since power-on first. Nothing is looked at
//! before its time; how an outing ended is told by the word after the file's name.

use std::{
    fs,
    io::{self, BufWriter, ErrorKind, Write},
    path::{Path, PathBuf},
};

use reckon::{
    bank::{AMBIENT_C, BankSpec, MeasuredAt},
    draw::{BoardModel, ModelFrom},
    engine::Start,
    estimator::{Estimator, Learned, LevelWatch, LoadPrior, Observation},
    forecast::Spread,
    record::RunDown,
    units::{Celsius, Seconds, Share},
    words,
};

use crate::{
    commands::{cli, failed::Failed},
    host::now_text,
    recording::{BOOT_S, HOLE_S, READING_S, Recording, Row},
    settings,
};

/// A hole is crossed in steps of this length, s.
const STRIDE_S: f64 = 60.0;
/// Radios' data sheets mean this voltage.
const SHEET_V: f64 = 13.8;

/// Plays the files and prints what follows.
///
/// # Errors
/// A sentence for the person who typed the command: what is wrong with which file, in which line.
pub(crate) fn run(args: &cli::Replay) -> Result<(), Failed> {
    let (bank, load) = bank_file(&args.bank)?;
    let outings = args
        .files
        .iter()
        .map(|text| told(text))
        .collect::<Result<Vec<_>, _>>()
        .map_err(Failed::wrong_use)?;
    let out = BufWriter::with_capacity(1 << 16, io::stdout().lock());
    let mut player = Player { bank, load, every_s: args.every, json: args.json, out };
    let mut learned = Learned::default();
    for (number, outing) in outings.iter().enumerate() {
        match player.play(number, outing, &learned) {
            Ok(rundown) => learned.credit(&rundown),
            // Whoever reads has seen enough (`| head`).
            Err(Trouble::Print(why)) if why.kind() == ErrorKind::BrokenPipe => return Ok(()),
            Err(Trouble::Print(why)) => {
                return Err(words::terminal::not_printed(&why).into());
            }
            Err(Trouble::Input(say)) => return Err(say.into()),
        }
    }
    match player.out.flush() {
        Err(why) if why.kind() != ErrorKind::BrokenPipe => {
            Err(words::terminal::not_printed(&why).into())
        }
        _ => Ok(()),
    }
}

/// What a file's name and the words after it tell.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Told {
    pub(super) path: PathBuf,
    /// Whether the bank cut out; else it was stopped.
    pub(super) ended: Option<bool>,
    pub(super) from: Option<Start>,
    pub(super) ambient: Option<Celsius>,
}

impl Told {
    fn died(&self) -> bool {
        self.ended == Some(true)
    }

    fn start(&self) -> Start {
        self.from.unwrap_or(Start::Full)
    }
}

const AFTER_FILE: &str = words::terminal::AFTER_FILE;

/// `FILE[:died|:stopped][:from=0.7|:unknown][:ambient=6]`. Without a word on the end it is taken as
/// stopped: then the outing only says 'at least'.
pub(super) fn told(text: &str) -> Result<Told, String> {
    let mut told = Told { path: PathBuf::from(text), ended: None, from: None, ambient: None };
    let mut name = text;
    // From the back, so that a name with a colon in it stays whole.
    while let Some((before, word)) = name.rsplit_once(':') {
        let (key, value) = word.split_once('=').unwrap_or((word, ""));
        match key {
            "died" => told.ended = Some(true),
            "stopped" => told.ended = Some(false),
            "unknown" => told.from = Some(Start::Unknown),
            "from" => {
                let share = value.parse().ok().and_then(Share::new).filter(|s| s.part() > 0.0);
                let share = share.ok_or_else(|| words::terminal::bad_start(&text, &word))?;
                told.from = Some(Start::Part(share));
            }
            "ambient" => {
                let c = value.parse().ok().filter(|c: &f64| AMBIENT_C.contains(c));
                let c = c.ok_or_else(|| words::terminal::bad_ambient(&text, &word))?;
                told.ambient = Some(Celsius::of(c));
            }
            _ if Path::new(name).exists() => break,
            _ => return Err(format!("{text}: `:{word}` is not understood. {AFTER_FILE}")),
        }
        name = before;
    }
    told.path = PathBuf::from(name);
    Ok(told)
}

/// The bank and what draws from it, from the same two tables as in the settings.
fn bank_file(path: &Path) -> Result<(BankSpec, LoadPrior), Failed> {
    let refuse = Failed::settings;
    let bytes = fs::read(path)
        .map_err(|why| refuse(words::terminal::bank_file_unreadable(&path.display(), &why)))?;
    let text = String::from_utf8_lossy(&bytes);
    let settings = settings::read(&text).map_err(|all| {
        let all: String = all.iter().map(|one| format!("\n  {one}")).collect();
        refuse(words::terminal::bank_file_refused(&path.display(), &all))
    })?;
    let Some(bank) = settings.bank else {
        return Err(refuse(words::terminal::bank_file_without_bank(&path.display())));
    };
    let board = BoardModel::new(settings.board, settings.board_draw);
    let known = board.from != ModelFrom::Generic;
    // A radio draws its current at whatever voltage the pack has: unless the file says at which
    // voltage the sheet means it, the pack's own counts.
    let sheet_v = if text.contains("radio_v") { 1.0 } else { bank.label_volts.si() / SHEET_V };
    let load = LoadPrior {
        idle_w: known.then(|| board.idle.si()),
        full_w: known.then(|| board.full.si()),
        accessories_w: settings.accessories.iter().map(|a| a.draw.si()).sum(),
        radio_receive_w: settings.radio.map(|r| r.receive.si() * sheet_v),
        radio_transmit_w: settings.radio.map(|r| r.transmit.si() * sheet_v),
    };
    Ok((bank, load))
}

/// Why playing stopped.
pub(super) enum Trouble {
    Input(String),
    Print(io::Error),
}

impl From<io::Error> for Trouble {
    fn from(why: io::Error) -> Self {
        Self::Print(why)
    }
}

/// Plays outings of one bank.
struct Player<W> {
    bank: BankSpec,
    load: LoadPrior,
    every_s: u32,
    json: bool,
    out: W,
}

/// Plays one outing; `each` is handed the estimator after every row.
pub(super) fn play(
    outing: &Told,
    bank: &BankSpec,
    load: &LoadPrior,
    learned: &Learned,
    mut each: impl FnMut(f64, &Estimator) -> io::Result<()>,
) -> Result<(Estimator, RunDown), Trouble> {
    let name = outing.path.display();
    let text = fs::read(&outing.path)
        .map_err(|why| Trouble::Input(words::terminal::recording_unreadable(&name, &why)))?;
    let bad = |say: String| Trouble::Input(format!("{name}: {say}"));
    let mut recording = Recording::new(&text).map_err(bad)?;
    let mut bank = bank.clone();
    bank.ambient = outing.ambient.or(bank.ambient);
    if !recording.has_sensor() {
        bank.measured_at = MeasuredAt::Nowhere;
    }
    let mut estimator = Estimator::new(&bank, load, learned, outing.start());
    let mut levels = LevelWatch::default();
    let mut clock = Clock::default();
    while let Some(row) = recording.next_row().map_err(bad)? {
        levels.observe(&clock.take(&mut estimator, &row));
        each(row.t_s, &estimator)?;
    }
    let mut rundown = estimator.clone().close(outing.died());
    rundown.detail.draw_levels = levels.levels(load);
    Ok((estimator, rundown))
}

impl<W: Write> Player<W> {
    fn play(
        &mut self,
        number: usize,
        outing: &Told,
        learned: &Learned,
    ) -> Result<RunDown, Trouble> {
        let every = f64::from(self.every_s);
        let mut due = every;
        let mut now = 0.0;
        let (bank, load) = (self.bank.clone(), self.load);
        let (estimator, rundown) = play(outing, &bank, &load, learned, |t_s, estimator| {
            now = t_s;
            if now >= due {
                due = (now / every).floor() * every + every;
                self.print(number, now, estimator)?;
            }
            Ok(())
        })?;
        let usable = estimator.usable_wh();
        if !self.json {
            let name = outing.path.display();
            let end = if outing.died() { "the bank died" } else { "stopped" };
            let after = now_text::plain_spaces(&words::span(Seconds::of(now)));
            writeln!(
                self.out,
                "Outing {number} ({name}): {end} after {after}, {:.1} Wh.",
                rundown.energy_wh()
            )?;
            if let Some([low, _, high]) = usable {
                writeln!(
                    self.out,
                    "  The whole bank was then thought to hold {low:.1} to {high:.1} Wh."
                )?;
            }
        }
        Ok(rundown)
    }

    fn print(&mut self, number: usize, t_s: f64, estimator: &Estimator) -> io::Result<()> {
        let spread = estimator.remaining();
        let basis = match (estimator.wants_s() > 0.0, estimator.is_measured()) {
            (true, _) => "expected",
            (false, true) => "measured",
            (false, false) => "modelled",
        };
        let quantiles = spread.as_ref().and_then(quantiles);
        if self.json {
            write!(self.out, "{{\"outing\":{number},\"t_s\":{t_s},\"remaining_s\":")?;
            match quantiles {
                Some([p10, p50, p90]) => write!(
                    self.out,
                    "{{\"p10\":{:.1},\"p50\":{:.1},\"p90\":{:.1}}}",
                    p10.si(),
                    p50.si(),
                    p90.si()
                )?,
                None => self.out.write_all(b"null")?,
            }
            return writeln!(self.out, ",\"basis\":\"{basis}\"}}");
        }
        let at = words::span(Seconds::of(t_s));
        let said = match quantiles {
            Some(all) => {
                let left = words::left(all[1], all[2] - all[0]);
                format!("{left} left, {} ({basis})", words::range(all))
            }
            None => "too soon to say".to_owned(),
        };
        writeln!(
            self.out,
            "Outing {number}, after {}: {}",
            now_text::plain_spaces(&at),
            now_text::plain_spaces(&said)
        )
    }
}

fn quantiles(spread: &Spread) -> Option<[Seconds; 3]> {
    let at = |share| spread.quantile(Share::nearest(share));
    Some([at(0.1)?, at(0.5)?, at(0.9)?])
}

/// Turns times into steps, and holes in the recording into steps without a reading.
#[derive(Default)]
struct Clock {
    t_s: f64,
    begun: bool,
}

impl Clock {
    fn take(&mut self, estimator: &mut Estimator, row: &Row) -> Observation {
        let mut dt_s = (row.t_s - self.t_s).max(0.0);
        self.t_s = row.t_s;
        if !self.begun {
            // Since power-on the board drew as it does in the first reading.
            self.begun = true;
            dt_s = dt_s.min(BOOT_S);
        } else if dt_s > HOLE_S {
            let mut hole = dt_s - READING_S;
            dt_s = READING_S;
            while hole > 0.0 {
                let step = hole.min(STRIDE_S);
                estimator.step(&Observation { dt_s: step, ..Observation::default() });
                hole -= step;
            }
        }
        let seen = Observation {
            dt_s,
            watts: None,
            volts: row.volts,
            amps: row.amps,
            cpu_busy: row.busy,
            cpu_temp_c: row.temp_c,
        };
        estimator.step(&seen);
        seen
    }
}

#[cfg(test)]
mod tests;
