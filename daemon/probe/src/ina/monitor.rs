//! One chip on a bus: set up, read, and watched for having lost its settings.

use std::time::Duration;

use reckon::{
    reading::{Gap, Got},
    time::Mono,
    units::{Amps, Joules, Volts, Watts},
};

use super::{Facts, Field, Inlet, Sense, energy_count::EnergyCount, identify};
use crate::{
    bus::{Bus, BusResult, Trouble},
    looks::{Look, Looks as Sum},
    source::Supply,
};

/// The most channels that any of these chips has.
pub(crate) const INLETS: usize = 3;

/// How long to wait at least for a chip that never says that a result is there.
const PATIENCE: Duration = Duration::from_secs(2);

/// The readings of all channels; a chip with fewer leaves the rest unused.
pub(crate) type Looks = [Supply; INLETS];

/// What a channel's current is computed with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Correction {
    /// The shunt, ohms; not used where it is inside the chip.
    pub(crate) ohms: f64,
    /// What every current is multiplied by in the end.
    pub(crate) scale: f64,
}

/// A chip that has proved what it is.
#[derive(Debug)]
pub(crate) struct Monitor {
    facts: &'static Facts,
    address: u8,
    corrections: [Correction; INLETS],
    state: State,
    energy_count: Option<EnergyCount>,
    words_only: bool,
    resets: u32,
    trouble: Option<Trouble>,
}

/// How far the set-up is.
#[derive(Clone, Copy, Debug, PartialEq)]
enum State {
    /// Not yet set up by us.
    Found,
    /// Set up; the first result is still to come.
    Settling { since: Mono, gap: Gap },
    /// Measuring.
    Running,
}

impl Monitor {
    /// A chip at an address where [`identify::ask`] has found it. `words_only` where the bus is
    /// known to lack transfers longer than two bytes.
    pub(crate) fn new(
        facts: &'static Facts,
        address: u8,
        corrections: [Correction; INLETS],
        words_only: bool,
    ) -> Self {
        Self {
            facts,
            address,
            corrections,
            state: State::Found,
            energy_count: facts
                .counter
                .map(|counter| EnergyCount::new(counter, corrections[0].ohms)),
            words_only,
            resets: 0,
            trouble: None,
        }
    }

    /// How often the chip was found without its settings and set up again.
    pub(crate) const fn resets(&self) -> u32 {
        self.resets
    }

    /// The last reading's trouble with the bus.
    pub(crate) const fn trouble(&self) -> Option<Trouble> {
        self.trouble
    }

    /// Whether long registers are read shortened, because the bus has no longer transfers.
    pub(crate) const fn words_only(&self) -> bool {
        self.words_only
    }

    /// Reads every channel.
    pub(crate) fn read(&mut self, bus: &mut dyn Bus, at: Mono) -> Looks {
        self.trouble = None;
        match self.awake(bus, at) {
            Ok(()) => self.sense(bus, at),
            Err(gap) => [self.missing(gap); INLETS],
        }
    }

    /// Looks at the first channel alone, between two readings. `None` unless all is well: what is
    /// wrong is found by the next reading.
    pub(crate) fn glance(&mut self, bus: &mut dyn Bus) -> Option<(f64, Look)> {
        if self.state != State::Running {
            return None;
        }
        let inlet = &self.facts.inlets[0];
        let volts = self.quantity(bus, &inlet.bus).ok()?;
        let look = self.look(bus, inlet, self.corrections[0]).ok()?;
        Some((volts, look))
    }

    /// Sees to it that the chip is set up and has a result.
    fn awake(&mut self, bus: &mut dyn Bus, at: Mono) -> Got<()> {
        let tell = self.facts.tell();
        let found = bus.read_word(self.address, tell.register);
        let found = self.hear(found)?;
        if self.state == State::Found || found != tell.ours {
            return Err(self.set_up(bus, found, at)?);
        }
        let State::Settling { since, gap } = self.state else { return Ok(()) };
        // A tenth longer, for a slow conversion clock.
        let window = self.facts.window() + self.facts.window() / 10;
        let passed = at.since(since);
        let patience = (window * 3).max(PATIENCE);
        if passed < window || !(passed >= patience || self.result_is_there(bus)?) {
            return Err(gap);
        }
        self.state = State::Running;
        Ok(())
    }

    /// Whether the chip says that a result is there. One that never says so (the kernel's emulated
    /// chips) is believed after three times the time it needs. In all these chips the mark stays
    /// until it is read or the settings are written, and measuring goes on by itself; so once it
    /// has been seen there is no need to ask again, and nobody else's alert is cleared by asking.
    fn result_is_there(&mut self, bus: &mut dyn Bus) -> Got<bool> {
        let (register, bit) = self.facts.ready;
        let word = bus.read_word(self.address, register);
        Ok(self.hear(word)? >> bit & 1 == 1)
    }

    /// Writes our settings and reads them back, after the chip has proved once more what it is.
    /// Returns what to mark this second's reading with.
    fn set_up(&mut self, bus: &mut dyn Bus, found: u16, at: Mono) -> Got<Gap> {
        let chip = self.facts.chip;
        let same = identify::still(bus, self.address, chip, found);
        if !self.hear(same)? {
            return Err(Gap::Garbled);
        }
        for setting in self.facts.settings {
            let written = bus.write_word(self.address, setting.register, setting.ours);
            self.hear(written)?;
        }
        for setting in self.facts.settings {
            let kept = bus.read_word(self.address, setting.register);
            if self.hear(kept)? != setting.ours {
                return Err(Gap::Garbled);
            }
        }
        let first = self.state == State::Found;
        if let Some(energy_count) = &mut self.energy_count {
            if !first && found == self.facts.tell().power_on {
                energy_count.began(at);
            } else {
                energy_count.forget();
            }
        }
        let gap = if first { Gap::NotReady } else { Gap::Resetting };
        self.resets += u32::from(!first);
        self.state = State::Settling { since: at, gap };
        Ok(gap)
    }

    /// Reads voltage, current and energy of every channel.
    fn sense(&mut self, bus: &mut dyn Bus, at: Mono) -> Looks {
        let mut looks = [self.missing(Gap::Absent); INLETS];
        for (index, inlet) in self.facts.inlets.iter().enumerate() {
            let correction = self.corrections[index];
            let volts = self.quantity(bus, &inlet.bus).and_then(volts);
            let seen = self.look(bus, inlet, Correction { scale: 1.0, ..correction });
            let look = seen.map(|it| Look { amps: it.amps * correction.scale, ..it });
            let amps = look.and_then(Look::within).and_then(amps);
            let watts = volts.and_then(|volts| Ok(volts * amps?));
            let bare = seen.and_then(Look::within);
            let counted = self
                .counted(bus, volts, bare, at)
                .map(|got| got.and_then(|joules| amps.map(|_| joules * correction.scale)));
            let at_least = volts.ok().zip(look.ok()).and_then(|(volts, look)| {
                let mut one = Sum::default();
                one.add(volts.si(), look);
                one.mean().at_least
            });
            looks[index] = Supply { volts, amps, watts, counted, looks: 1, at_least };
        }
        looks
    }

    /// The chip's own energy count, if it has one and the bus can carry it.
    fn counted(
        &mut self,
        bus: &mut dyn Bus,
        volts: Got<Volts>,
        bare_amps: Got<f64>,
        at: Mono,
    ) -> Option<Got<Joules>> {
        let field = self.facts.counter?.field;
        if self.words_only {
            return None;
        }
        let raw = match self.raw(bus, &field) {
            Ok(raw) => raw,
            Err(gap) => return Some(Err(gap)),
        };
        let watts = volts.and_then(|volts| Ok(Watts::of(volts.si() * bare_amps?)));
        // A bus that turned out to lack long transfers has just given a shortened count.
        if self.words_only { None } else { Some(self.energy_count.as_mut()?.add(raw, watts, at)) }
    }

    /// The current of one channel.
    fn look(&mut self, bus: &mut dyn Bus, inlet: &Inlet, by: Correction) -> Got<Look> {
        let field = inlet.sense.field();
        let raw = self.raw(bus, field)?;
        let (value, beyond) = field.or_its_end(raw)?;
        let bare = match inlet.sense {
            Sense::Drop(_) => value / by.ohms,
            Sense::Current(_) => value,
        };
        Ok(Look { amps: by.scale * bare, beyond })
    }

    /// One field of a register as a quantity.
    fn quantity(&mut self, bus: &mut dyn Bus, field: &Field) -> Got<f64> {
        let raw = self.raw(bus, field)?;
        field.quantity(raw)
    }

    /// A register's content. Where the bus has no longer transfers, the first two bytes of a
    /// longer one: a word transfer simply stops reading there.
    fn raw(&mut self, bus: &mut dyn Bus, field: &Field) -> Got<u64> {
        let bytes = usize::from(field.bytes.min(8));
        if bytes > 2 && !self.words_only {
            let mut buffer = [0; 8];
            match bus.read_block(self.address, field.register, &mut buffer[8 - bytes..]) {
                Ok(()) => return Ok(u64::from_be_bytes(buffer)),
                Err(Trouble::Unsupported) => self.words_only = true,
                Err(other) => return self.hear(Err(other)),
            }
        }
        let word = bus.read_word(self.address, field.register);
        Ok(u64::from(self.hear(word)?) << (8 * (bytes - 2)))
    }

    /// No reading, for this reason.
    const fn missing(&self, gap: Gap) -> Supply {
        let counted =
            if self.energy_count.is_some() && !self.words_only { Some(Err(gap)) } else { None };
        Supply { counted, ..Supply::missing(gap) }
    }

    /// Remembers what went wrong on the bus, for the notes.
    fn hear<T>(&mut self, heard: BusResult<T>) -> Got<T> {
        heard.map_err(|trouble| {
            self.trouble = Some(trouble);
            if trouble == Trouble::DriverOwns {
                // A driver writes its own settings: no sign of a loose supply when we are back.
                self.state = State::Found;
            }
            trouble.gap()
        })
    }
}

fn volts(bare: f64) -> Got<Volts> {
    Volts::new(bare).ok_or(Gap::Implausible)
}

fn amps(bare: f64) -> Got<Amps> {
    Amps::new(bare).ok_or(Gap::Implausible)
}
