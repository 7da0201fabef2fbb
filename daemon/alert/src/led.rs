//! An on-board LED, through the kernel's LED class (Documentation/ABI/testing/sysfs-class-led and
//! sysfs-class-led-trigger-timer, Documentation/leds/leds-class.rst).
//!
//! The kernel's timer trigger blinks by itself, so a pattern costs no wake-up. How the LED was
//! before is written to the state folder first and put back afterwards; after a crash the next
//! start puts it back.

use std::{
    fmt, fs, io,
    path::{Path, PathBuf},
};

use serde::{Deserialize, Serialize};

use reckon::words;

use crate::queue::write_whole;

/// What the LED says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Lamp {
    /// Nothing of ours: the LED does what it did before.
    #[default]
    AsBefore,
    /// An alarm stands: a short flash every three seconds.
    Notice,
    /// An urgent alarm stands: two flashes a second.
    Urgent,
    /// The board is about to be switched off: mostly on, five short gaps a second.
    Countdown,
}

impl Lamp {
    /// On and off, milliseconds.
    const fn beat(self) -> Option<(u32, u32)> {
        match self {
            Self::AsBefore => None,
            Self::Notice => Some((100, 2900)),
            Self::Urgent => Some((150, 350)),
            Self::Countdown => Some((150, 50)),
        }
    }
}

/// What is wrong with the LED.
#[derive(Debug)]
pub struct LedProblem {
    what: String,
    why: io::Error,
}

impl fmt::Display for LedProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", words::warning::led_unusable(&self.what, &self.why))
    }
}

impl std::error::Error for LedProblem {}

/// How the LED was before.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Before {
    led: PathBuf,
    trigger: String,
    brightness: String,
    delay_on: Option<String>,
    delay_off: Option<String>,
}

/// One LED of the class folder.
#[derive(Debug)]
pub struct Led {
    folder: PathBuf,
    memory: Option<PathBuf>,
    before: Option<Before>,
    shows: Lamp,
}

impl Led {
    /// The LED of this folder, such as `/sys/class/leds/ACT`. `state` remembers how it was; where
    /// an earlier run crashed, the LED it used is put back first.
    #[must_use]
    pub fn new(folder: &Path, state: Option<&Path>) -> Self {
        let memory = state.map(|state| state.join("led.json"));
        if let Some(before) = memory.as_deref().and_then(remembered) {
            match restore(&before) {
                Ok(()) => forget(memory.as_deref()),
                Err(why) => tracing::warn!("{}", words::warning::led_left(&why)),
            }
        }
        Self { folder: folder.to_owned(), memory, before: None, shows: Lamp::AsBefore }
    }

    /// What it shows.
    #[must_use]
    pub const fn shows(&self) -> Lamp {
        self.shows
    }

    /// Shows this from now on.
    ///
    /// # Errors
    /// What could not be written, and what to do.
    pub fn show(&mut self, lamp: Lamp) -> Result<(), LedProblem> {
        if lamp == self.shows {
            return Ok(());
        }
        self.try_show(lamp)
            .map_err(|why| LedProblem { what: self.folder.display().to_string(), why })?;
        self.shows = lamp;
        Ok(())
    }

    fn try_show(&mut self, lamp: Lamp) -> io::Result<()> {
        let Some((on_ms, off_ms)) = lamp.beat() else {
            if let Some(before) = &self.before {
                restore(before)?;
                self.before = None;
                forget(self.memory.as_deref());
            }
            return Ok(());
        };
        if self.before.is_none() {
            let before = read_state(&self.folder)?;
            // Remembered before anything is changed: a crash in between is harmless.
            if let Some(memory) = &self.memory {
                write_whole(memory, &serde_json::to_vec(&before)?)?;
            }
            self.before = Some(before);
        }
        if !triggers(&self.folder)?.iter().any(|name| name == "timer") {
            // A kernel without the timer: steadily on is still a sign.
            write(&self.folder, "trigger", "none")?;
            let most = fs::read_to_string(self.folder.join("max_brightness"))?;
            return write(&self.folder, "brightness", most.trim());
        }
        write(&self.folder, "trigger", "timer")?;
        // The delays' files appear with the trigger and belong to root until udev has seen them;
        // without them the LED blinks evenly, which is a sign as well.
        if let Err(why) = beat(&self.folder, &on_ms.to_string(), &off_ms.to_string()) {
            tracing::info!("{}", words::warning::led_even(&why));
        }
        Ok(())
    }
}

impl Drop for Led {
    fn drop(&mut self) {
        if let Err(why) = self.show(Lamp::AsBefore) {
            tracing::warn!("{why}");
        }
    }
}

fn write(folder: &Path, name: &str, value: &str) -> io::Result<()> {
    // Opened, not created: a name that is missing must not become a file of ours.
    let mut file = fs::OpenOptions::new().write(true).truncate(true).open(folder.join(name))?;
    io::Write::write_all(&mut file, value.as_bytes())
}

fn beat(folder: &Path, on_ms: &str, off_ms: &str) -> io::Result<()> {
    write(folder, "delay_on", on_ms)?;
    write(folder, "delay_off", off_ms)
}

/// `none mmc0 [timer]`: every trigger there is, the one that is on in brackets.
fn triggers(folder: &Path) -> io::Result<Vec<String>> {
    let text = fs::read_to_string(folder.join("trigger"))?;
    Ok(text.split_whitespace().map(|name| name.trim_matches(['[', ']']).to_owned()).collect())
}

fn read_state(folder: &Path) -> io::Result<Before> {
    let read =
        |name: &str| Ok::<_, io::Error>(fs::read_to_string(folder.join(name))?.trim().to_owned());
    let on = read("trigger")?;
    let trigger = on
        .split_whitespace()
        .find_map(|name| name.strip_prefix('[')?.strip_suffix(']'))
        .unwrap_or("none");
    let delay = |name: &str| (trigger == "timer").then(|| read(name).ok()).flatten();
    Ok(Before {
        led: folder.to_owned(),
        trigger: trigger.to_owned(),
        brightness: read("brightness")?,
        delay_on: delay("delay_on"),
        delay_off: delay("delay_off"),
    })
}

fn restore(before: &Before) -> io::Result<()> {
    let folder = &before.led;
    write(folder, "trigger", &before.trigger)?;
    match (before.trigger.as_str(), &before.delay_on, &before.delay_off) {
        ("none", _, _) => write(folder, "brightness", &before.brightness),
        ("timer", Some(on_ms), Some(off_ms)) => beat(folder, on_ms, off_ms),
        _ => Ok(()),
    }
}

fn remembered(file: &Path) -> Option<Before> {
    serde_json::from_slice(&fs::read(file).ok()?).ok()
}

fn forget(file: Option<&Path>) {
    if let Some(file) = file {
        // A memory that stays puts the LED back once more at the next start, which does no harm.
        let _ = fs::remove_file(file);
    }
}
