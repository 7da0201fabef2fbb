//! What every source is to the sweep: a few channels that can be read. The sweep gives each
//! channel its index, keeps the reports and decides what counts as the bank; a source only reads.

use std::{
    collections::{BTreeMap, BTreeSet},
    time::Duration,
};

use reckon::{
    reading::{
        AtLeast, Flags, Flow, Gap, GaugeReading, Got, Role, Shunt, SourceIx, SupplyReading, Via,
    },
    time::Mono,
    units::{Amps, Celsius, Hertz, Joules, Ohms, Share, Volts, Watts},
};

/// Something that can be read once a second: a chip, a gauge, a file of the kernel.
pub(crate) trait Source: Send {
    /// One entry for each channel, always as many and in the same order. The texts may change
    /// (a driver that comes back may assume another shunt).
    fn channels(&self) -> &[Channel];

    /// Goes up whenever something in [`Source::channels`] has changed.
    fn version(&self) -> u32 {
        0
    }

    /// Reads every channel: pushes exactly one reading for each, in the order of the channels.
    /// Never panics. May block (a bus can hang); the sweep sees to it that nobody else waits.
    fn read(&mut self, at: Mono, into: &mut Vec<Reading>);

    /// Whether something outside memory is asked (a bus, the firmware), so that the answer may
    /// keep us waiting. Such a source has to prove itself on a thread of its own first.
    fn may_block(&self) -> bool {
        true
    }

    /// How often the source wants extra looks between two sweeps; `None` for none.
    fn sample_every(&self) -> Option<Duration> {
        None
    }

    /// Over which part of the second the moment of the look should wander, where a reading is an
    /// instant that would beat with what it looks at; `None` where it does not matter.
    fn wander(&self) -> Option<Duration> {
        None
    }

    /// One extra look, averaged into the next reading.
    fn sample(&mut self) {}
}

/// What a channel is, in words and in fact.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Channel {
    /// Stable identity, such as `hwmon:ina3221@1-0040/2`; the same after a reboot.
    pub(crate) id: String,
    /// For a person: `INA226 power monitor at 0x40 on bus 1`.
    pub(crate) title: String,
    /// What it is read through.
    pub(crate) via: Via,
    /// Whether it measures power, and so may count as the bank.
    pub(crate) power: bool,
    /// `1-0040` or `1-0040/2`: where the chip sits. Two channels in one place are one chip seen
    /// through two doors and never both count.
    pub(crate) place: Option<String>,
    /// What the firmware or the owner calls it.
    pub(crate) label: Option<String>,
    /// What the settings say it counts as.
    pub(crate) told_role: Option<Role>,
    /// The shunt, for current sensors.
    pub(crate) shunt: Option<Shunt>,
    /// Sentences: what was found, what could not be, what to do.
    pub(crate) notes: Vec<String>,
}

impl Channel {
    /// A channel that is no power sensor and has nothing more to say.
    pub(crate) fn new(id: impl Into<String>, title: impl Into<String>, via: Via) -> Self {
        Self {
            id: id.into(),
            title: title.into(),
            via,
            power: false,
            place: None,
            label: None,
            told_role: None,
            shunt: None,
            notes: Vec::new(),
        }
    }
}

/// One channel's reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Reading {
    /// A current and voltage sensor.
    Supply(Supply),
    /// A fuel gauge.
    Gauge(Gauge),
    /// Something about the board.
    Board(BoardPart),
}

/// A current and voltage sensor's reading; as [`SupplyReading`], before the sweep adds the index.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Supply {
    pub(crate) volts: Got<Volts>,
    pub(crate) amps: Got<Amps>,
    pub(crate) watts: Got<Watts>,
    pub(crate) counted: Option<Got<Joules>>,
    pub(crate) looks: u16,
    pub(crate) at_least: Option<AtLeast>,
}

impl Supply {
    /// Nothing, for this reason.
    pub(crate) const fn missing(gap: Gap) -> Self {
        Self {
            volts: Err(gap),
            amps: Err(gap),
            watts: Err(gap),
            counted: None,
            looks: 0,
            at_least: None,
        }
    }

    /// The current, or the end of the range where it lies beyond.
    pub(crate) fn seen_amps(&self) -> Option<Amps> {
        self.amps.ok().or(self.at_least.map(|it| it.amps))
    }

    /// With the index that the sweep gave the channel.
    pub(crate) const fn from(self, source: SourceIx) -> SupplyReading {
        let Self { volts, amps, watts, counted, looks, at_least } = self;
        SupplyReading { source, volts, amps, watts, counted, looks, at_least }
    }
}

/// A fuel gauge's reading; as [`GaugeReading`], before the sweep adds the index.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Gauge {
    pub(crate) volts: Got<Volts>,
    pub(crate) amps: Got<Amps>,
    pub(crate) level: Got<Share>,
    pub(crate) energy_left: Got<Joules>,
    pub(crate) flow: Flow,
    pub(crate) temp: Got<Celsius>,
}

impl Gauge {
    /// Nothing, for this reason.
    pub(crate) const fn missing(gap: Gap) -> Self {
        Self {
            volts: Err(gap),
            amps: Err(gap),
            level: Err(gap),
            energy_left: Err(gap),
            flow: Flow::Unknown,
            temp: Err(gap),
        }
    }

    /// With the index that the sweep gave the channel.
    pub(crate) const fn from(self, source: SourceIx) -> GaugeReading {
        let Self { volts, amps, level, energy_left, flow, temp } = self;
        GaugeReading { source, volts, amps, level, energy_left, flow, temp }
    }
}

/// What one source knows about the board; `None` where it has nothing to do with it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct BoardPart {
    pub(crate) cpu_busy: Option<Got<Share>>,
    pub(crate) cpu_clock: Option<Got<Hertz>>,
    pub(crate) temp: Option<Got<Celsius>>,
    pub(crate) undervoltage: Option<Got<bool>>,
    pub(crate) flags: Option<Got<Flags>>,
    pub(crate) input_volts: Option<Got<Volts>>,
    pub(crate) rails_at_least: Option<Got<Watts>>,
}

impl BoardPart {
    /// Knows nothing of anything.
    pub(crate) const NOTHING: Self = Self {
        cpu_busy: None,
        cpu_clock: None,
        temp: None,
        undervoltage: None,
        flags: None,
        input_volts: None,
        rails_at_least: None,
    };
}

/// What a search for sources brought to light.
#[derive(Default)]
pub(crate) struct Found {
    /// New sources.
    pub(crate) sources: Vec<Box<dyn Source>>,
    /// Seen, and deliberately left alone; the notes say why.
    pub(crate) left_alone: Vec<Channel>,
    /// Sentences about what was looked for and not found.
    pub(crate) notes: Vec<String>,
}

/// What is known already when a search begins.
#[derive(Default)]
pub(crate) struct Known {
    /// Identities of channels that have a source; a search does not bring them again.
    pub(crate) ids: BTreeSet<String>,
    /// The shunt that a kernel driver assumed, by the place of the channel, so that a chip that
    /// loses its driver goes on with the same figure.
    pub(crate) shunts: BTreeMap<String, Ohms>,
}

impl Known {
    /// Whether a channel of this identity has a source.
    pub(crate) fn has(&self, id: &str) -> bool {
        self.ids.contains(id)
    }
}
