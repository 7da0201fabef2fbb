//! The LED on a folder that keeps to the LED class: a `trigger` file that lists every trigger with
//! the active one in brackets, `brightness`, `max_brightness`, and the timer's `delay_on` and
//! `delay_off` (Documentation/ABI/testing/sysfs-class-led, sysfs-class-led-trigger-timer).
//!
//! The folder is made of plain files, so what the kernel does by itself (moving the brackets,
//! making the delays' files appear) is done here by a small stand-in.

use std::{fs, path::Path};

use alert::{Lamp, Led};

struct Fake {
    folder: tempfile::TempDir,
    triggers: Vec<&'static str>,
}

impl Fake {
    fn new(triggers: &[&'static str], active: &str, brightness: &str) -> Self {
        let fake = Self { folder: tempfile::tempdir().unwrap(), triggers: triggers.to_vec() };
        fake.write("brightness", brightness);
        fake.write("max_brightness", "255\n");
        fake.write("trigger", active);
        fake.kernel();
        fake
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    fn read(&self, name: &str) -> String {
        fs::read_to_string(self.path().join(name)).unwrap_or_default().trim().to_owned()
    }

    fn write(&self, name: &str, text: &str) {
        fs::write(self.path().join(name), text).unwrap();
    }

    /// What the kernel makes of the last write to `trigger`.
    fn kernel(&self) {
        let wrote = self.read("trigger");
        let active = wrote
            .split_whitespace()
            .find_map(|name| name.strip_prefix('[')?.strip_suffix(']'))
            .unwrap_or(&wrote)
            .to_owned();
        let bracket =
            |name: &&str| if **name == *active { format!("[{name}]") } else { (*name).to_owned() };
        let all: Vec<String> = self.triggers.iter().map(bracket).collect();
        self.write("trigger", &format!("{}\n", all.join(" ")));
        let timer = self.path().join("delay_on");
        if active == "timer" && !timer.exists() {
            self.write("delay_on", "500\n");
            self.write("delay_off", "500\n");
        }
    }

    fn active(&self) -> String {
        self.kernel();
        let all = self.read("trigger");
        let one = all.split_whitespace().find(|name| name.starts_with('[')).unwrap();
        one.trim_matches(['[', ']']).to_owned()
    }
}

const USUAL: [&str; 5] = ["none", "kbd-scrolllock", "timer", "mmc0", "default-on"];

#[test]
fn it_blinks_by_the_kernels_timer_and_is_put_back() {
    let state = tempfile::tempdir().unwrap();
    let fake = Fake::new(&USUAL, "mmc0", "0\n");
    let mut led = Led::new(fake.path(), Some(state.path()));
    led.show(Lamp::Urgent).unwrap();
    assert_eq!(fake.active(), "timer");
    led.show(Lamp::Notice).unwrap();
    led.show(Lamp::Countdown).unwrap();
    assert_eq!(led.shows(), Lamp::Countdown);
    assert_eq!((fake.read("delay_on"), fake.read("delay_off")), ("150".into(), "50".into()));
    assert!(state.path().join("led.json").exists());
    led.show(Lamp::AsBefore).unwrap();
    assert_eq!(fake.active(), "mmc0", "the trigger of before");
    assert!(!state.path().join("led.json").exists());
    // Dropped while it blinks: put back as well.
    led.show(Lamp::Notice).unwrap();
    fake.kernel();
    drop(led);
    assert_eq!(fake.active(), "mmc0");
}

#[test]
fn one_without_a_trigger_gets_its_brightness_back() {
    let fake = Fake::new(&USUAL, "none", "255\n");
    let mut led = Led::new(fake.path(), None);
    led.show(Lamp::Notice).unwrap();
    fake.kernel();
    fake.write("brightness", "0\n");
    led.show(Lamp::AsBefore).unwrap();
    assert_eq!((fake.active(), fake.read("brightness")), ("none".into(), "255".into()));
}

#[test]
fn after_a_crash_the_next_start_puts_it_back() {
    let state = tempfile::tempdir().unwrap();
    let fake = Fake::new(&USUAL, "default-on", "255\n");
    let mut led = Led::new(fake.path(), Some(state.path()));
    led.show(Lamp::Urgent).unwrap();
    fake.kernel();
    // The process is gone without a word.
    std::mem::forget(led);
    assert_eq!(fake.active(), "timer");
    let led = Led::new(fake.path(), Some(state.path()));
    assert_eq!(fake.active(), "default-on");
    assert!(!state.path().join("led.json").exists());
    drop(led);
    assert_eq!(fake.active(), "default-on");
}

#[test]
fn without_a_timer_it_is_steadily_on() {
    let fake = Fake::new(&["none", "mmc0"], "mmc0", "0\n");
    let mut led = Led::new(fake.path(), None);
    led.show(Lamp::Urgent).unwrap();
    assert_eq!((fake.active(), fake.read("brightness")), ("none".into(), "255".into()));
    led.show(Lamp::AsBefore).unwrap();
    assert_eq!(fake.active(), "mmc0");
}

#[test]
fn a_timer_of_before_gets_its_own_beat_back() {
    let fake = Fake::new(&USUAL, "timer", "0\n");
    fake.write("delay_on", "40\n");
    fake.write("delay_off", "960\n");
    let mut led = Led::new(fake.path(), None);
    led.show(Lamp::Urgent).unwrap();
    led.show(Lamp::AsBefore).unwrap();
    assert_eq!((fake.read("delay_on"), fake.read("delay_off")), ("40".into(), "960".into()));
}

#[test]
fn one_that_is_not_there_is_said_and_nothing_is_made_up() {
    let folder = tempfile::tempdir().unwrap();
    let mut led = Led::new(&folder.path().join("gone"), None);
    let why = led.show(Lamp::Notice).unwrap_err().to_string();
    assert!(why.contains("cannot be used") && why.contains("other ways"), "{why}");
    assert_eq!(led.shows(), Lamp::AsBefore);
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
}
