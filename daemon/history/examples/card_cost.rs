//! Counts what the record costs a card: bytes and flushes that reach a block device, in real time.
//!
//! `card_cost MINUTES PACE...` (as root) makes for each pace (seconds between commits) an ext4 of
//! its own with blocks of 4096 bytes on a loop device, keeps a usual record on all of them at once
//! and reads the devices' counters (`/sys/block/*/stat`; the kernel's Documentation/block/stat.rst)
//! at the end of so many minutes. Pace 0 is the yardstick: a bare program that writes one block
//! into a file of fixed length once a minute and syncs it, the least that any record can cost.
//! Default: 20 minutes; paces 0, 60, 80.

use std::{
    fs::{self, File},
    io::Read,
    os::unix::fs::FileExt,
    path::PathBuf,
    process::Command,
    time::{Duration, Instant},
};

use history::{Change, Keep, Who, Writer, start};
use reckon::{
    record::{Channel, ForecastMade, Row, Stats},
    snapshot::Basis,
    time::Mono,
};

type Fault = Box<dyn std::error::Error>;

/// A card: an image, its device and where it is mounted.
struct Card {
    device: String,
    place: PathBuf,
    image: PathBuf,
}

fn run(program: &str, words: &[&str]) -> Result<String, Fault> {
    let done = Command::new(program).args(words).output()?;
    if !done.status.success() {
        return Err(
            format!("{program} {words:?}: {}", String::from_utf8_lossy(&done.stderr)).into()
        );
    }
    Ok(String::from_utf8_lossy(&done.stdout).trim().to_string())
}

impl Card {
    fn new(name: &str) -> Result<Self, Fault> {
        let base = std::env::temp_dir().join(format!("outlast-card-{}-{name}", std::process::id()));
        let (image, place) = (base.with_extension("img"), base.with_extension("mount"));
        File::create(&image)?.set_len(256 << 20)?;
        let (image_name, place_name) = (image.to_string_lossy(), place.to_string_lossy());
        let lazy = "lazy_itable_init=0,lazy_journal_init=0";
        run("mkfs.ext4", &["-q", "-F", "-b", "4096", "-E", lazy, &image_name])?;
        let device = run("losetup", &["-f", "--show", &image_name])?;
        fs::create_dir_all(&place)?;
        run("mount", &["-o", "noatime", &device, &place_name])?;
        Ok(Self { device, place, image })
    }

    /// Bytes written to the device, and flushes.
    fn counters(&self) -> Result<(u64, u64), Fault> {
        let name = self.device.trim_start_matches("/dev/");
        let mut text = String::new();
        File::open(format!("/sys/block/{name}/stat"))?.read_to_string(&mut text)?;
        let fields: Vec<u64> =
            text.split_whitespace().filter_map(|word| word.parse().ok()).collect();
        let field = |k: usize| fields.get(k).copied().ok_or("the device's counters are short");
        Ok((field(6)? * 512, field(15)?))
    }
}

impl Drop for Card {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.place).status();
        let _ = Command::new("losetup").args(["-d", &self.device]).status();
        let _ = fs::remove_file(&self.image);
        let _ = fs::remove_dir(&self.place);
    }
}

/// What a station with one sensor has to say every ten seconds: the figures wander.
fn usual(from_s: f64) -> Row {
    let wander = |size: f64, span: f64| size * (from_s / span).sin();
    let fold = |mean: f64, below: f64, above: f64| {
        Some(Stats { mean, min: mean - below, max: mean + above })
    };
    let mut stats = [None; Channel::ALL.len()];
    stats[Channel::Volts.ix()] = fold(5.021 + wander(0.012, 71.0), 0.034, 0.009);
    stats[Channel::Amps.ix()] = fold(0.612 + wander(0.083, 53.0), 0.104, 0.411);
    stats[Channel::Watts.ix()] = fold(3.067 + wander(0.41, 53.0), 0.52, 2.04);
    stats[Channel::Busy.ix()] = fold(0.123 + wander(0.05, 31.0), 0.04, 0.31);
    stats[Channel::Temp.ix()] = fold(52.3 + wander(2.0, 900.0), 0.4, 0.5);
    Row { from_s, span_s: 10.0, stats }
}

/// One card and what is kept on it.
struct Trial {
    pace_s: u32,
    // What is open on the card goes before the card.
    writer: Option<Writer>,
    bare: Option<File>,
    card: Card,
    before: (u64, u64),
}

/// Boot time of the first row: the measured minutes end before an hour does.
const FROM_S: f64 = 7200.0;

fn trial(pace_s: u32) -> Result<Trial, Fault> {
    let card = Card::new(&format!("{pace_s}"))?;
    let (mut writer, mut bare) = (None, None);
    if pace_s == 0 {
        let file = File::create(card.place.join("bare"))?;
        file.write_all_at(&vec![0x55; 1 << 20], 0)?;
        file.sync_all()?;
        bare = Some(file);
    } else {
        let keep = Keep { every_s: f64::from(pace_s), ..Keep::here(card.place.join("state")) };
        let who = Who { boot_uuid: "cost".into(), began_s: FROM_S, version: "cost".into() };
        let started = start(keep, who, |_| ())?;
        if let Some(trouble) = started.trouble {
            return Err(trouble.into());
        }
        writer = Some(started.writer);
    }
    run("sync", &[])?;
    Ok(Trial { pace_s, writer, bare, card, before: (0, 0) })
}

impl Trial {
    fn step(&self, step: u32) -> Result<(), Fault> {
        if let Some(writer) = &self.writer {
            let from_s = FROM_S + f64::from(step) * 10.0;
            writer.pace(Some(36_000.0));
            writer.give(Change::Row(usual(from_s)));
            if step % 60 == 59 {
                writer.give(Change::Forecast(ForecastMade {
                    at: Mono::at_s(from_s),
                    remaining_s: [20_000.0, 24_000.0, 28_000.0],
                    basis: Basis::Measured,
                    delivered_wh: 5.25,
                    bridged_wh: 0.0,
                    usable_wh: Some([25.1, 28.2, 31.3]),
                }));
            }
        }
        if let Some(bare) = self.bare.as_ref().filter(|_| step % 6 == 5) {
            let place = u64::from(step / 6 % 256) * 4096;
            bare.write_all_at(&vec![step.to_le_bytes()[0]; 4096], place)?;
            bare.sync_data()?;
        }
        Ok(())
    }

    fn report(&self, hours: f64) -> Result<(), Fault> {
        let (bytes, flushes) = self.card.counters()?;
        #[expect(clippy::cast_precision_loss, reason = "a card holds less than 2^53 bytes")]
        let per_hour = |now: u64, before: u64| (now - before) as f64 / hours;
        let name = if self.pace_s == 0 { "bare".to_string() } else { format!("{} s", self.pace_s) };
        println!(
            "{name:>6}: {:7.1} KiB = {:.3} MiB an hour, {:.0} flushes an hour",
            per_hour(bytes, self.before.0) / 1024.0,
            per_hour(bytes, self.before.0) / 1_048_576.0,
            per_hour(flushes, self.before.1)
        );
        Ok(())
    }
}

fn main() -> Result<(), Fault> {
    let mut words = std::env::args().skip(1).map(|word| word.parse::<u32>());
    let minutes = words.next().unwrap_or(Ok(20))?;
    let mut paces = words.collect::<Result<Vec<u32>, _>>()?;
    if paces.is_empty() {
        paces = vec![0, 60, 80];
    }
    let mut trials = paces.into_iter().map(trial).collect::<Result<Vec<_>, _>>()?;
    // Ten minutes settle the first growth and what making the file left to be written back.
    let (settle, steps) = (60, minutes * 6);
    let began = Instant::now();
    for step in 0..settle + steps {
        if step == settle {
            for trial in &mut trials {
                trial.before = trial.card.counters()?;
            }
        }
        for trial in &trials {
            trial.step(step)?;
        }
        let due = Duration::from_secs(u64::from(step + 1) * 10);
        std::thread::sleep(due.saturating_sub(began.elapsed()));
    }
    for trial in &trials {
        trial.report(f64::from(minutes) / 60.0)?;
    }
    hourly(&mut trials)
}

/// What the end of an hour costs on top.
fn hourly(trials: &mut [Trial]) -> Result<(), Fault> {
    for trial in trials.iter_mut() {
        trial.before = trial.card.counters()?;
        if let Some(writer) = &trial.writer {
            writer.give(Change::Row(usual(FROM_S + 7200.0)));
            writer.change(vec![])?;
        }
    }
    std::thread::sleep(Duration::from_secs(50));
    for trial in trials.iter().filter(|trial| trial.writer.is_some()) {
        let (bytes, _) = trial.card.counters()?;
        println!(
            "{:>4} s: {} KiB for the end of an hour",
            trial.pace_s,
            (bytes - trial.before.0) / 1024
        );
    }
    for trial in trials {
        // Closes the file before its card goes away.
        if let Some(writer) = trial.writer.take() {
            writer.stop(FROM_S + 7210.0, reckon::belief::last_end::StopHow::Stopped)?;
        }
    }
    Ok(())
}
