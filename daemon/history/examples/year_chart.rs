//! Times the charts: makes a year of record (once, kept in FOLDER) and draws stretches of it.
//!
//! `cargo run --release -p history --example year_chart -- FOLDER`

use std::{
    path::{Path, PathBuf},
    time::Instant,
};

use history::{Change, Keep, Reader, Who, start};
use reckon::{
    record::{Channel, ClockFix, ClockFrom, Row, SeriesAsk, Stats, Stretch},
    time::Mono,
};

type Fault = Box<dyn std::error::Error>;

const DAY_S: f64 = 86_400.0;
/// 2024-01-01T00:00:00Z.
const FIRST_MS: i64 = 1_704_067_200_000;

fn row(from_s: f64) -> Row {
    let mut stats = [None; Channel::ALL.len()];
    let wander = (from_s / 777.0).sin();
    for (channel, mean) in [
        (Channel::Volts, 5.02),
        (Channel::Amps, 0.6),
        (Channel::Watts, 3.0),
        (Channel::Busy, 0.2),
        (Channel::Temp, 50.0),
    ] {
        let mean = mean * (1.0 + 0.1 * wander);
        stats[channel.ix()] = Some(Stats { mean, min: mean * 0.9, max: mean * 1.3 });
    }
    Row { from_s, span_s: 10.0, stats }
}

/// One boot a day, on the whole day long.
fn make(folder: &Path) -> Result<(), Fault> {
    let began = Instant::now();
    for day in 0..365_u32 {
        let keep = Keep { every_s: 640.0, every_near_s: 640.0, ..Keep::here(folder.to_path_buf()) };
        let who = Who { boot_uuid: format!("day-{day}"), began_s: 0.0, version: "year".into() };
        let started = start(keep, who, |_| ())?;
        if let Some(trouble) = started.trouble {
            return Err(trouble.into());
        }
        let wall_ms = FIRST_MS + i64::from(day) * 86_400_000;
        started.writer.change(vec![
            Change::Clock(ClockFix {
                at: Mono::BOOT,
                wall_ms,
                within_ms: 50,
                from: ClockFrom::Synchronised,
            }),
            Change::OutingBegins { bank: None, name: None, start_share: Some(1.0), at_s: 0.0 },
        ])?;
        for k in 0..8640_u32 {
            while !started.writer.give(Change::Row(row(f64::from(k) * 10.0))) {
                std::thread::yield_now();
            }
        }
        let end = reckon::record::End {
            from_s: DAY_S,
            to_s: DAY_S,
            ending: reckon::record::Ending::SwitchedOff,
        };
        started.writer.change(vec![Change::OutingEnds { outing: None, end }])?;
        started.writer.stop(DAY_S, reckon::belief::last_end::StopHow::SwitchingOff)?;
    }
    println!("made in {:.0} s", began.elapsed().as_secs_f64());
    Ok(())
}

fn main() -> Result<(), Fault> {
    let folder: PathBuf = std::env::args().nth(1).ok_or("usage: year_chart FOLDER")?.into();
    if !folder.join(history::FILE).exists() {
        make(&folder)?;
    }
    let bytes = std::fs::metadata(folder.join(history::FILE))?.len();
    println!("{} MiB", bytes >> 20);
    let reader = Reader::new(&folder);
    let whole_ms = 365 * 86_400_000_i64;
    for (what, from_ms, days) in [
        ("a year", 0, 365),
        ("a quarter, old", 30, 91),
        ("a month", 334, 31),
        ("a week", 357, 7),
        ("a day", 364, 1),
        ("a day, old", 10, 1),
    ] {
        let from_ms = FIRST_MS + from_ms * 86_400_000;
        let to_ms = (from_ms + days * 86_400_000).min(FIRST_MS + whole_ms);
        let ask = SeriesAsk {
            of: Stretch::Wall { from_ms, to_ms },
            channels: vec![Channel::Watts, Channel::Volts],
            points: 1000,
        };
        let mut times = Vec::new();
        let mut points = 0;
        for _ in 0..15 {
            let began = Instant::now();
            let series = reader.series(&ask)?;
            times.push(began.elapsed().as_secs_f64() * 1000.0);
            points = series.channels[0].1.iter().flatten().count();
        }
        times.sort_by(f64::total_cmp);
        println!(
            "{what:>15}: {points} points, median {:.1} ms, slowest {:.1} ms",
            times[7], times[14]
        );
    }
    let began = Instant::now();
    let list = reader.outings(None, 50)?;
    println!(
        "{} outings listed in {:.1} ms",
        list.items.len(),
        began.elapsed().as_secs_f64() * 1000.0
    );
    Ok(())
}
