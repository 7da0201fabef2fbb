//! Looks for sources, at the start and whenever the machine's list of devices has changed.

use std::{sync::Arc, time::Duration};

use reckon::{
    reading::{BoardFacts, Gap},
    time::Mono,
    words,
};

use crate::{
    adc::{self, PowerAdc},
    board, files,
    flags::BoardFlags,
    gauge, hwmon, i2c,
    processor::Processor,
    root::Root,
    source::{Found, Known, Source},
    syscalls::Syscalls,
    thermal::Thermal,
    want::Want,
};

/// Between two looks at the lists of devices.
const EVERY: Duration = Duration::from_secs(10);
/// Folders whose listings change when a device comes or goes.
const LISTS: [&str; 4] =
    ["/sys/class/hwmon", "/sys/class/power_supply", "/sys/bus/i2c/devices", "/sys/class/i2c-dev"];

/// Everything that is not known yet.
pub(crate) fn find(
    root: &Root,
    want: &Want,
    facts: &BoardFacts,
    syscalls: &Syscalls,
    known: &Known,
) -> Found {
    let mut found = Found::default();
    add(&mut found, known, Processor::find(root));
    let thermal = Thermal::find(root);
    if thermal.is_none() {
        found.notes.push(words::sensor::NO_TEMPERATURE.into());
    }
    add(&mut found, known, thermal);
    match BoardFlags::find(root, facts.kind, syscalls) {
        Ok(flags) => add(&mut found, known, Some(flags)),
        Err(note) => found.notes.push(note),
    }
    if board::has_power_adc(facts.kind) {
        power_adc(&mut found, known, syscalls);
    }
    merge(&mut found, hwmon::discover(root, want, known));
    merge(&mut found, gauge::discover(root, want, known));
    merge(&mut found, i2c::discover(root, want, known));
    let measured = found.sources.iter().any(|source| source.channels().iter().any(|c| c.power));
    if known.ids.is_empty() && !measured {
        found.notes.push(words::sensor::NO_POWER_SENSOR.into());
    }
    found
}

/// The power-management chip, if the firmware can be asked.
fn power_adc(found: &mut Found, known: &Known, syscalls: &Syscalls) {
    match &syscalls.firmware {
        Ok(firmware) => {
            let firmware = Arc::clone(firmware);
            let text: adc::Text = Box::new(move || firmware.command(adc::QUESTION));
            add(found, known, Some(PowerAdc::new(text)));
        }
        Err(Gap::Denied) => found.notes.push(words::sensor::OWN_INPUT_DENIED.into()),
        Err(_) => found.notes.push(words::sensor::OWN_INPUT_HIDDEN.into()),
    }
}

/// Adds a source unless all its channels are known.
fn add<S: Source + 'static>(found: &mut Found, known: &Known, source: Option<S>) {
    if let Some(source) = source
        && !source.channels().iter().all(|channel| known.has(&channel.id))
    {
        found.sources.push(Box::new(source));
    }
}

fn merge(found: &mut Found, more: Found) {
    found.sources.extend(more.sources);
    found.left_alone.extend(more.left_alone);
    found.notes.extend(more.notes);
}

/// Notices when a search is worth while.
#[derive(Default)]
pub(crate) struct Rescan {
    seen: Vec<Vec<String>>,
    due: Option<Mono>,
}

impl Rescan {
    /// Takes the present lists as known.
    pub(crate) fn start(&mut self, root: &Root, at: Mono) {
        self.seen = lists(root);
        self.due = Some(at.plus(EVERY));
    }

    /// Whether the lists have changed since the last search.
    pub(crate) fn due(&mut self, root: &Root, at: Mono) -> bool {
        if self.due.is_some_and(|due| at < due) {
            return false;
        }
        self.due = Some(at.plus(EVERY));
        let now = lists(root);
        if now == self.seen {
            return false;
        }
        self.seen = now;
        true
    }
}

fn lists(root: &Root) -> Vec<Vec<String>> {
    LISTS.iter().map(|list| files::names(&root.at(list)).unwrap_or_default()).collect()
}
