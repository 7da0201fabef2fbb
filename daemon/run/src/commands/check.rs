//! `check`: what was found on this board, what each source reads, what is missing and how to add
//! it, and what outlast footprint. Reads every sensor itself.

use std::{sync::Arc, time::Duration};

use probe::{SensorWant, Sweeper, Want};
use reckon::{
    energy_tally::RegressionLine,
    reading::{BoardFacts, Got, Role, SourceIx, SourceReport, SourceState, Sweep},
    units::{Celsius, Hertz, Share, Watts},
    words,
};
use serde::{Deserialize, Serialize};

use crate::{
    commands::{cli, failed::Failed, now},
    host::{
        banner::print, clock::Clock, folders, footprint::FootprintMeter, now_text::plain_spaces,
    },
};

/// The second sweep knows rates, and sources that were asked apart have answered by then.
const SWEEPS: u32 = 2;

/// Reads everything and prints it.
pub(crate) fn run(options: &cli::Check, sensors: Vec<SensorWant>) -> Result<(), Failed> {
    let clock = Clock::system();
    let mut footprint = FootprintMeter::default();
    footprint.measure(clock.mono());
    let now = {
        let clock = clock.clone();
        Arc::new(move || clock.mono())
    };
    let mut sweeper = Sweeper::new(Want { sysroot: options.sysroot.clone(), sensors }, now);
    let mut sweep = sweeper.sweep(clock.mono());
    for _ in 1..SWEEPS {
        let next = sweep.at.plus(Duration::from_millis(1050));
        while let Some(look) = sweeper.next_sample(clock.mono()).filter(|look| *look < next) {
            clock.sleep_until(look);
            sweeper.sample();
        }
        clock.sleep_until(next);
        sweep = sweeper.sweep(clock.mono());
    }
    let facts = sweeper.facts();
    let learned = Learned::here();
    let report = Report::new(&facts, &sweep, &mut footprint, &clock, learned.as_ref());
    if options.json {
        let text = serde_json::to_string_pretty(&report).map_err(|why| why.to_string())?;
        print(&format!("{text}\n"));
    } else {
        print(&plain_spaces(&report.text(&sweep, learned.as_ref())));
    }
    Ok(())
}

/// What the outlast that runs here has learned of what load takes, and of its own part in it.
#[derive(Deserialize)]
struct Learned {
    load: Option<Load>,
    footprint: Own,
    draw: Draw,
}

#[derive(Clone, Copy, Deserialize, Serialize)]
struct Load {
    idle_w: f64,
    idle_error_w: f64,
    all_cores_w: f64,
    all_cores_error_w: f64,
    rests_on_min: f64,
}

#[derive(Deserialize)]
struct Own {
    power_w: Option<f64>,
    power_error_w: Option<f64>,
}

#[derive(Deserialize)]
struct Draw {
    outing_w: Option<f64>,
}

impl Learned {
    /// Of the daemon that runs, if one does, this user may ask it, and it is of our version.
    fn here() -> Option<Self> {
        serde_json::from_str(&now::here("/api/v1/now").ok()?).ok()
    }

    fn text(&self) -> Vec<String> {
        let line = self.load.map(|load| RegressionLine {
            intercept: load.idle_w,
            intercept_se: load.idle_error_w,
            slope: load.all_cores_w,
            slope_se: load.all_cores_error_w,
            explained: Share::NONE,
            pairs: load.rests_on_min,
        });
        let Some(line) = line else {
            let why = words::terminal::LOAD_UNKNOWN;
            return vec![why.to_owned()];
        };
        let mut said = vec![words::fold::load(&line)];
        let of = |watts: Option<f64>| watts.and_then(Watts::new);
        let (own, error) = (of(self.footprint.power_w), of(self.footprint.power_error_w));
        if let (Some(own), Some(error)) = (own, error) {
            said.push(words::own_cost(own, error, of(self.draw.outing_w)));
        }
        said
    }
}

/// The report as JSON; fields are added, never renamed.
#[derive(Serialize)]
struct Report {
    board: Board,
    sources: Vec<Source>,
    missing: Vec<String>,
    daemon_runs: bool,
    load: Option<Load>,
    footprint: Cost,
}

#[derive(Serialize)]
struct Board {
    model: Option<String>,
    cores: Option<u16>,
    memory_mib: Option<u32>,
    kernel: Option<String>,
    has_clock_battery: bool,
    clock_synchronised: Option<bool>,
    cpu_busy: Option<f64>,
    cpu_clock_hz: Option<f64>,
    temp_c: Option<f64>,
    undervoltage: Option<bool>,
    undervoltage_gap: Option<&'static str>,
    leds: Vec<String>,
}

#[derive(Serialize)]
struct Source {
    id: String,
    title: String,
    counts_as: &'static str,
    state: &'static str,
    why_silent: Option<&'static str>,
    reads: Vec<String>,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct Cost {
    resident_kib: Option<u64>,
    cpu_ms_for_this_check: Option<f64>,
    /// Of the outlast that runs, by its own word.
    power_w: Option<f64>,
    power_error_w: Option<f64>,
}

impl Report {
    fn new(
        facts: &BoardFacts,
        sweep: &Sweep,
        footprint: &mut FootprintMeter,
        clock: &Clock,
        learned: Option<&Learned>,
    ) -> Self {
        let cost = footprint.measure(clock.mono());
        let spent_s = probe::footprint(None).map(|print| print.cpu_s);
        let board = &sweep.board;
        Self {
            board: Board {
                model: facts.model.clone(),
                cores: facts.cores,
                memory_mib: facts.memory_mib,
                kernel: facts.kernel.clone(),
                has_clock_battery: facts.has_rtc,
                clock_synchronised: sweep.clock_synchronised.ok(),
                cpu_busy: board.cpu_busy.ok().map(Share::part),
                cpu_clock_hz: board.cpu_clock.ok().map(Hertz::si),
                temp_c: board.temp.ok().map(Celsius::si),
                undervoltage: board.undervoltage.ok(),
                undervoltage_gap: board.undervoltage.err().map(words::gap),
                leds: facts.leds.clone(),
            },
            sources: indexed(&sweep.sources)
                .map(|(ix, source)| Source::from_report(ix, source, sweep))
                .collect(),
            missing: facts.notes.clone(),
            daemon_runs: folders::socket_places()
                .iter()
                .any(|path| std::os::unix::net::UnixStream::connect(path).is_ok()),
            load: learned.and_then(|learned| learned.load),
            footprint: Cost {
                resident_kib: cost.resident_kib,
                cpu_ms_for_this_check: spent_s.map(|s| (s * 1000.0).round()),
                power_w: learned.and_then(|learned| learned.footprint.power_w),
                power_error_w: learned.and_then(|learned| learned.footprint.power_error_w),
            },
        }
    }

    fn text(&self, sweep: &Sweep, learned: Option<&Learned>) -> String {
        let mut lines = vec![format!(
            "Board: {}",
            self.board.model.as_deref().unwrap_or(words::terminal::UNKNOWN_BOARD)
        )];
        lines.extend(board_lines(sweep, &self.board));
        if self.sources.is_empty() {
            lines.push(words::terminal::NO_SOURCE.to_owned());
        }
        for source in &self.sources {
            lines.push(format!("\n{}", source.title));
            lines.push(format!("  identity: {}", source.id));
            match source.why_silent {
                Some(why) => lines.push(format!("  {}: it {why}", source.state)),
                None => lines.push(format!("  {}, {}", source.state, source.counts_as)),
            }
            lines.extend(source.reads.iter().map(|line| format!("  reads {line}")));
            lines.extend(source.notes.iter().map(|line| format!("  {line}")));
        }
        if !self.missing.is_empty() {
            lines.push(words::terminal::MISSING_HERE.to_owned());
            lines.extend(self.missing.iter().map(|line| format!("  {line}")));
        }
        lines.push(String::new());
        if self.daemon_runs {
            lines.push(words::terminal::RUNS_HERE.to_owned());
            lines.extend(learned.map(Learned::text).unwrap_or_default());
        } else {
            lines.push(words::terminal::RUNS_NOT.to_owned());
        }
        if let (Some(kib), Some(ms)) =
            (self.footprint.resident_kib, self.footprint.cpu_ms_for_this_check)
        {
            lines.push(words::terminal::check_cost(ms, &kib));
        }
        lines.join("\n") + "\n"
    }
}

fn indexed(sources: &[SourceReport]) -> impl Iterator<Item = (SourceIx, &SourceReport)> {
    (0_u16..).map(SourceIx).zip(sources)
}

fn board_lines(sweep: &Sweep, facts: &Board) -> Vec<String> {
    let board = &sweep.board;
    let mut lines = vec![
        format!("  {}", named("processor load", board.cpu_busy.map(words::percent))),
        format!("  {}", named("temperature", board.temp.map(words::celsius))),
    ];
    let low = match board.undervoltage {
        Ok(true) => Ok(words::terminal::YES_NOW.to_owned()),
        Ok(false) => Ok("no".to_owned()),
        Err(gap) => Err(gap),
    };
    lines.push(format!("  {}", named("undervoltage", low)));
    if let Ok(volts) = board.input_volts {
        lines.push(format!("  input: {}", words::volts(volts)));
    }
    if let Ok(watts) = board.rails_at_least {
        lines.push(words::terminal::rails(&words::power(watts)));
    }
    let clock = match sweep.clock_synchronised {
        Ok(true) => Ok("synchronised".to_owned()),
        Ok(false) => Ok(words::terminal::UNSYNCHRONISED.to_owned()),
        Err(gap) => Err(gap),
    };
    let chip =
        if facts.has_clock_battery { "a clock chip" } else { words::terminal::NO_CLOCK_CHIP };
    lines.push(words::terminal::chip_of_board(&(named("clock", clock)), &chip));
    lines
}

impl Source {
    fn from_report(ix: SourceIx, report: &SourceReport, sweep: &Sweep) -> Self {
        let (state, why_silent) = match report.state {
            SourceState::Live => ("live", None),
            SourceState::Silent { gap, .. } => ("silent", Some(words::gap(gap))),
            SourceState::LeftAlone => ("left alone", None),
        };
        Self {
            id: report.id.clone(),
            title: report.title.clone(),
            counts_as: match report.role {
                Role::Bank => words::terminal::COUNTS_AS_BANK,
                Role::Part => words::terminal::COUNTS_IN_PART,
                Role::NotCounted => words::terminal::COUNTS_NOT,
            },
            state,
            why_silent,
            reads: reads(ix, sweep),
            notes: report.notes.clone(),
        }
    }
}

/// `name: value`, or the name with the reason why there is none.
fn named(name: &str, got: Got<String>) -> String {
    match got {
        Ok(value) => format!("{name}: {value}"),
        Err(gap) => format!("{name} {}", words::gap(gap)),
    }
}

/// What the power sensors and gauges said this second; the board's readings stand at the top.
fn reads(ix: SourceIx, sweep: &Sweep) -> Vec<String> {
    let said = |name: &str, got: Got<String>| {
        got.unwrap_or_else(|gap| format!("{name} {}", words::gap(gap)))
    };
    let supplies = sweep.supplies.iter().filter(|s| s.source == ix).map(|s| {
        [
            said("voltage", s.volts.map(words::volts)),
            said("current", s.amps.map(words::current)),
            said("power", s.watts.map(words::power)),
        ]
        .join(", ")
    });
    let gauges = sweep.gauges.iter().filter(|g| g.source == ix).map(|g| {
        [
            said("level", g.level.map(|level| format!("{} full", words::percent(level)))),
            said("voltage", g.volts.map(words::volts)),
            said("current", g.amps.map(words::current)),
        ]
        .join(", ")
    });
    supplies.chain(gauges).collect()
}
