//! Who is who: every channel's lasting index, its report, how it is doing, and which power sensor
//! counts as the bank.

use std::sync::Arc;

use reckon::{
    reading::{Gap, Got, Role, SourceIx, SourceReport, SourceState, Via},
    time::Mono,
    units::{Amps, Ohms, Volts},
    words,
};

use crate::source::{BoardPart, Channel, Reading};

/// Words in a label that mean the bank itself (common practice, no source).
const BANK_WORDS: [&str; 8] =
    ["bank", "pack", "batt", "accu", "vin", "supply", "mains in", "dc in"];
/// Sweeps after which the bank is chosen from those that have answered, even if others have not.
const PATIENCE_SWEEPS: u32 = 5;
/// Two voltages closer than this count as one wire; the larger current decides then.
const SAME_WIRE: f64 = 0.03;

/// Every channel ever seen. Nothing is removed: an index stays what it was.
#[derive(Default)]
pub(crate) struct Registry {
    entries: Vec<Entry>,
    shown: Option<Arc<[SourceReport]>>,
    bank: Option<Chosen>,
    undecided_sweeps: u32,
}

struct Entry {
    channel: Channel,
    state: SourceState,
    role: Role,
    /// A sentence of the sweep's own, such as why it is read apart.
    remark: Option<String>,
    last: Option<(Volts, Amps)>,
}

/// The channel that was chosen as the bank, and why.
struct Chosen {
    entry: usize,
    why: String,
}

impl Registry {
    /// The index of a channel: the old one if its identity was seen before.
    pub(crate) fn enter(&mut self, channel: &Channel, at: Mono, left_alone: bool) -> SourceIx {
        let state = if left_alone {
            SourceState::LeftAlone
        } else {
            SourceState::Silent { since: at, gap: Gap::NotReady }
        };
        self.shown = None;
        if let Some(known) = self.entries.iter().position(|entry| entry.channel.id == channel.id) {
            self.entries[known].channel = channel.clone();
            self.entries[known].state = state;
            return index(known);
        }
        self.entries.push(Entry {
            channel: channel.clone(),
            state,
            role: Role::NotCounted,
            remark: None,
            last: None,
        });
        self.assign_roles();
        index(self.entries.len() - 1)
    }

    /// Takes over what a source now says about a channel.
    pub(crate) fn describe(&mut self, ix: SourceIx, channel: &Channel) {
        if let Some(entry) = self.entries.get_mut(usize::from(ix.0))
            && entry.channel != *channel
        {
            entry.channel = channel.clone();
            self.shown = None;
            self.assign_roles();
        }
    }

    /// Sets or takes away the sweep's own remark about a channel.
    pub(crate) fn remark(&mut self, ix: SourceIx, remark: Option<&str>) {
        if let Some(entry) = self.entries.get_mut(usize::from(ix.0))
            && entry.remark.as_deref() != remark
        {
            entry.remark = remark.map(str::to_owned);
            self.shown = None;
        }
    }

    /// Notes how a channel answered.
    pub(crate) fn heard(&mut self, ix: SourceIx, reading: &Reading, at: Mono, answered: bool) {
        let Some(entry) = self.entries.get_mut(usize::from(ix.0)) else { return };
        if let Reading::Supply(supply) = reading
            && let (Ok(volts), Some(amps)) = (supply.volts, supply.seen_amps())
        {
            entry.last = Some((volts, amps));
        }
        let trouble = if answered { trouble(reading) } else { Some(Gap::Late) };
        let state = match (trouble, entry.state) {
            (None, _) => SourceState::Live,
            (Some(gap), SourceState::Silent { since, .. }) => SourceState::Silent { since, gap },
            (Some(gap), _) => SourceState::Silent { since: at, gap },
        };
        if state != entry.state {
            entry.state = state;
            self.shown = None;
        }
    }

    /// Identities of all channels, also of those that are left alone.
    pub(crate) fn ids(&self) -> impl Iterator<Item = &str> {
        self.entries.iter().map(|entry| entry.channel.id.as_str())
    }

    /// The shunts that kernel drivers assume, by the place of the channel.
    pub(crate) fn driver_shunts(&self) -> impl Iterator<Item = (String, Ohms)> {
        self.entries.iter().filter_map(|Entry { channel, .. }| {
            let assumed = channel.shunt.filter(|_| channel.via == Via::Hwmon)?.assumed?;
            Some((channel.place.clone()?, assumed))
        })
    }

    /// Called once at the end of each sweep: chooses the bank when that can be done.
    pub(crate) fn end_of_sweep(&mut self) {
        let candidates: Vec<usize> = self.candidates().collect();
        // One that has never answered holds the place only as long as nobody else does answer.
        let mute = self.bank.as_ref().is_some_and(|c| self.entries[c.entry].last.is_none());
        if mute && candidates.iter().any(|c| self.entries[*c].last.is_some()) {
            self.bank = None;
        }
        if self.bank.is_none() && !candidates.is_empty() {
            self.undecided_sweeps += 1;
            let all_answered = candidates.iter().all(|c| self.entries[*c].last.is_some());
            if all_answered || candidates.len() == 1 || self.undecided_sweeps >= PATIENCE_SWEEPS {
                self.bank = self.choose(&candidates);
                self.assign_roles();
            }
        }
        self.follow_the_chip();
    }

    /// The reports, made anew only when something has changed.
    pub(crate) fn reports(&mut self) -> Arc<[SourceReport]> {
        if let Some(shown) = &self.shown {
            return Arc::clone(shown);
        }
        let all: Arc<[SourceReport]> =
            self.entries.iter().enumerate().map(|(i, entry)| self.report(i, entry)).collect();
        self.shown = Some(Arc::clone(&all));
        all
    }

    fn report(&self, i: usize, entry: &Entry) -> SourceReport {
        let channel = &entry.channel;
        let mut notes = channel.notes.clone();
        if channel.power && channel.via != Via::PowerSupply && entry.state != SourceState::LeftAlone
        {
            notes.push(self.role_sentence(i, entry));
        }
        notes.extend(entry.remark.clone());
        SourceReport {
            id: channel.id.clone(),
            title: channel.title.clone(),
            via: channel.via,
            role: entry.role,
            state: entry.state,
            shunt: channel.shunt,
            notes,
        }
    }

    fn role_sentence(&self, i: usize, entry: &Entry) -> String {
        match (entry.channel.told_role, entry.role, &self.bank) {
            (Some(Role::Bank), ..) => words::sensor::BANK_BY_SETTINGS.into(),
            (Some(Role::Part), ..) => words::sensor::PART_BY_SETTINGS.into(),
            (Some(Role::NotCounted), ..) => words::sensor::IGNORED_BY_SETTINGS.into(),
            (None, Role::Bank, Some(chosen)) if chosen.entry == i => {
                words::sensor::counts_because(&chosen.why)
            }
            (None, _, None) if self.told_bank() => words::sensor::ANOTHER_IS_NAMED.into(),
            (None, _, Some(chosen)) => {
                let other = &self.entries[chosen.entry].channel;
                if same_place(&other.place, &entry.channel.place) {
                    words::sensor::same_chip(&other.id)
                } else {
                    words::sensor::other_taken(&other.id, &chosen.why)
                }
            }
            (None, ..) => words::sensor::NOT_DECIDED.into(),
        }
    }

    fn told_bank(&self) -> bool {
        self.entries.iter().any(|entry| entry.channel.told_role == Some(Role::Bank))
    }

    /// Power sensors of which the settings say nothing.
    fn candidates(&self) -> impl Iterator<Item = usize> {
        let told = self.told_bank();
        self.entries.iter().enumerate().filter_map(move |(i, entry)| {
            let open = entry.channel.power
                && entry.channel.via != Via::PowerSupply
                && entry.channel.told_role.is_none()
                && entry.state != SourceState::LeftAlone;
            (open && !told).then_some(i)
        })
    }

    /// The rule: the only one; else the one whose label says so; else the highest voltage, because
    /// converters on these boards bring the bank's voltage down, and on one wire the largest
    /// current, because the bank carries the sum.
    fn choose(&self, candidates: &[usize]) -> Option<Chosen> {
        let answered = |c: &usize| self.entries[*c].last;
        if let [only] = candidates {
            return Some(Chosen { entry: *only, why: words::sensor::ONLY_ONE.into() });
        }
        let labelled = candidates.iter().find_map(|c| {
            let label = self.entries[*c].channel.label.as_deref()?;
            let lower = label.to_lowercase();
            BANK_WORDS.iter().any(|word| lower.contains(word)).then(|| (*c, label.to_owned()))
        });
        if let Some((entry, label)) = labelled {
            return Some(Chosen { entry, why: words::sensor::label_says(&label) });
        }
        let live: Vec<(usize, Volts, Amps)> = candidates
            .iter()
            .filter_map(|c| answered(c).map(|(volts, amps)| (*c, volts, amps)))
            .collect();
        let top = live.iter().map(|(_, volts, _)| volts.si()).fold(f64::MIN, f64::max);
        let (entry, volts, _) = live
            .iter()
            .filter(|(_, volts, _)| volts.si() >= top * (1.0 - SAME_WIRE))
            .max_by(|a, b| a.2.si().abs().total_cmp(&b.2.si().abs()).then(b.0.cmp(&a.0)))?;
        let why = words::sensor::highest_voltage(volts.si(), &candidates.len());
        Some(Chosen { entry: *entry, why })
    }

    /// A driver was unbound and the chip is now read directly, or the other way round: the one
    /// that answers is the bank.
    fn follow_the_chip(&mut self) {
        let Some(chosen) = &self.bank else { return };
        let old = &self.entries[chosen.entry];
        if old.state == SourceState::Live || old.channel.place.is_none() {
            return;
        }
        let twin = self.entries.iter().position(|entry| {
            entry.channel.id != old.channel.id
                && same_place(&entry.channel.place, &old.channel.place)
                && entry.state == SourceState::Live
        });
        if let Some(entry) = twin {
            let why = words::sensor::same_chip_silent(&old.channel.id);
            self.bank = Some(Chosen { entry, why });
            self.assign_roles();
        }
    }

    fn assign_roles(&mut self) {
        let told = self.told_bank();
        let bank = self.bank.as_ref().map(|chosen| chosen.entry);
        for (i, entry) in self.entries.iter_mut().enumerate() {
            entry.role = match entry.channel.told_role {
                Some(role) => role,
                None if entry.channel.via == Via::PowerSupply => {
                    if entry.channel.power {
                        Role::Bank
                    } else {
                        Role::NotCounted
                    }
                }
                None if !entry.channel.power => Role::NotCounted,
                None if !told && bank == Some(i) => Role::Bank,
                None => Role::Part,
            };
        }
        self.shown = None;
    }
}

fn index(at: usize) -> SourceIx {
    SourceIx(u16::try_from(at).unwrap_or(u16::MAX))
}

fn same_place(a: &Option<String>, b: &Option<String>) -> bool {
    a.is_some() && a == b
}

/// Why a reading says nothing at all; `None` if it says something.
fn trouble(reading: &Reading) -> Option<Gap> {
    match reading {
        Reading::Supply(s) if s.at_least.is_some() => None,
        Reading::Supply(s) => s.amps.err().and(s.volts.err()),
        Reading::Gauge(g) => {
            g.volts.err().and(g.amps.err()).and(g.level.err()).and(g.energy_left.err())
        }
        Reading::Board(part) => board_trouble(part),
    }
}

fn board_trouble(part: &BoardPart) -> Option<Gap> {
    let BoardPart { cpu_busy, cpu_clock, temp, undervoltage, flags, input_volts, rails_at_least } =
        part;
    let said = [
        cpu_busy.map(Got::err),
        cpu_clock.map(Got::err),
        temp.map(Got::err),
        flags.map(Got::err),
        undervoltage.map(Got::err),
        input_volts.map(Got::err),
        rails_at_least.map(Got::err),
    ];
    let mut first = None;
    for answer in said.into_iter().flatten() {
        first = first.or(Some(answer?));
    }
    first
}

#[cfg(test)]
mod tests {
    use reckon::units::Watts;

    use super::*;
    use crate::source::Supply;

    fn monitor(id: &str, place: &str) -> Channel {
        let mut channel = Channel::new(id, "A power monitor", Via::Hwmon);
        channel.power = true;
        channel.place = Some(place.to_owned());
        channel
    }

    fn reads(volts: f64, amps: f64) -> Reading {
        Reading::Supply(Supply {
            volts: Ok(Volts::of(volts)),
            amps: Ok(Amps::of(amps)),
            watts: Ok(Watts::of(volts * amps)),
            counted: None,
            looks: 1,
            at_least: None,
        })
    }

    fn gone() -> Reading {
        Reading::Supply(Supply::missing(Gap::Gone))
    }

    fn roles(registry: &mut Registry) -> Vec<Role> {
        registry.end_of_sweep();
        registry.reports().iter().map(|report| report.role).collect()
    }

    #[test]
    fn when_the_driver_is_unbound_the_chip_itself_takes_its_place() {
        let mut registry = Registry::default();
        let at = Mono::at_s(1.0);
        let driver = registry.enter(&monitor("hwmon:ina226@1-0040", "1-0040"), at, false);
        registry.heard(driver, &reads(12.6, 1.0), at, true);
        assert_eq!(roles(&mut registry), [Role::Bank]);

        registry.heard(driver, &gone(), Mono::at_s(2.0), true);
        assert_eq!(roles(&mut registry), [Role::Bank], "a silent bank sensor stays one");
        let direct = registry.enter(&monitor("i2c:ina226@1-0040", "1-0040"), at, false);
        registry.heard(direct, &reads(12.6, 1.0), Mono::at_s(3.0), true);
        assert_eq!(roles(&mut registry), [Role::Part, Role::Bank], "never both");

        registry.heard(driver, &reads(12.6, 1.0), Mono::at_s(4.0), true);
        registry.heard(direct, &gone(), Mono::at_s(4.0), true);
        assert_eq!(roles(&mut registry), [Role::Bank, Role::Part]);
    }

    #[test]
    fn another_sensor_does_not_become_the_bank_because_the_bank_sensor_is_silent() {
        let mut registry = Registry::default();
        let at = Mono::at_s(1.0);
        let bank = registry.enter(&monitor("hwmon:ina226@1-0040", "1-0040"), at, false);
        let rail = registry.enter(&monitor("hwmon:ina226@1-0041", "1-0041"), at, false);
        registry.heard(bank, &reads(12.6, 1.0), at, true);
        registry.heard(rail, &reads(5.1, 2.0), at, true);
        assert_eq!(roles(&mut registry), [Role::Bank, Role::Part]);
        registry.heard(bank, &gone(), Mono::at_s(2.0), true);
        assert_eq!(roles(&mut registry), [Role::Bank, Role::Part]);
    }

    #[test]
    fn on_one_wire_the_larger_current_is_the_banks() {
        let mut registry = Registry::default();
        let at = Mono::at_s(1.0);
        let part = registry.enter(&monitor("hwmon:ina226@1-0040", "1-0040"), at, false);
        let sum = registry.enter(&monitor("hwmon:ina226@1-0041", "1-0041"), at, false);
        registry.heard(part, &reads(12.60, 0.4), at, true);
        registry.heard(sum, &reads(12.55, 1.9), at, true);
        assert_eq!(roles(&mut registry), [Role::Part, Role::Bank]);
    }

    #[test]
    fn a_mute_sensor_gives_way_to_one_that_answers() {
        let mut registry = Registry::default();
        let at = Mono::at_s(1.0);
        let mute = registry.enter(&monitor("hwmon:ina226@1-0040", "1-0040"), at, false);
        registry.heard(mute, &gone(), at, true);
        assert_eq!(roles(&mut registry), [Role::Bank], "the only one there is");
        let other = registry.enter(&monitor("hwmon:ina226@1-0041", "1-0041"), at, false);
        registry.heard(other, &reads(5.1, 1.0), at, true);
        for _ in 0..PATIENCE_SWEEPS {
            registry.end_of_sweep();
        }
        assert_eq!(roles(&mut registry), [Role::Part, Role::Bank]);
    }
}
