//! Picks what a sweep says about the draw: the bank's sensors, else a gauge, else the model.

use alloc::vec::Vec;

use crate::{
    reading::{Flow, Gap, GaugeReading, Got, Role, SourceIx, SourceState, SupplyReading, Sweep},
    snapshot::Supply,
    units::{Amps, Joules, Seconds, Share, Volts, Watts},
};

/// More than any bank in this trade delivers; a power beyond it is a broken reading.
const MOST_WATTS: f64 = 5000.0;

/// What one sweep says about the bank.
#[derive(Clone, Debug)]
pub(super) struct Picked {
    /// As it is shown.
    pub(super) supply: Supply,
    /// What a sensor or gauge measures, if there is one that has ever answered.
    pub(super) measured: Option<Got<Watts>>,
    /// Whose silence is behind a missing measurement.
    pub(super) silent: Option<(SourceIx, Gap)>,
    /// Who measured.
    pub(super) by: By,
    /// What the gauges say together.
    pub(super) gauge: Option<Gauge>,
}

/// Who measures the draw.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum By {
    /// A sensor that sees what the bank delivers.
    Sensor,
    /// A fuel gauge.
    Gauge,
    /// Nobody.
    Nobody,
}

/// All gauges of the board taken together.
#[derive(Clone, Copy, Debug)]
pub(super) struct Gauge {
    pub(super) volts: Option<Volts>,
    pub(super) watts: Option<Watts>,
    pub(super) amps: Option<Amps>,
    pub(super) left: Option<Joules>,
    pub(super) level: Option<Share>,
    pub(super) flow: Flow,
}

/// Remembers who has ever measured, and each chip's last energy count.
#[derive(Clone, Debug, Default)]
pub(super) struct Picker {
    answered: Vec<SourceIx>,
    counted: Vec<(SourceIx, Joules)>,
    gauge_answered: Option<SourceIx>,
}

impl Picker {
    /// Forgets who has answered, for a new bank on what may be other terminals.
    pub(super) fn forget(&mut self) {
        self.answered.clear();
        self.gauge_answered = None;
    }

    /// What this sweep says; `dt` is the time since the sweep before.
    pub(super) fn pick(&mut self, sweep: &Sweep, dt: Seconds) -> Picked {
        let channels = self.bank_channels(sweep);
        let gauge = together(&sweep.gauges);
        if !self.answered.is_empty() {
            return self.by_sensors(sweep, &channels, dt, gauge);
        }
        if let Some(found) = self.by_gauge(sweep, gauge) {
            return found;
        }
        let nobody = Gap::Absent;
        Picked {
            supply: Supply {
                volts: sweep
                    .board
                    .input_volts
                    .or_else(|gap| gauge.and_then(|all| all.volts).ok_or(gap)),
                current: Err(nobody),
                power: Err(nobody),
                source: None,
            },
            measured: None,
            silent: None,
            by: By::Nobody,
            gauge,
        }
    }

    /// The channels that count as the bank, and a note of those that have ever given a power.
    fn bank_channels<'a>(&mut self, sweep: &'a Sweep) -> Vec<&'a SupplyReading> {
        let channels: Vec<&SupplyReading> =
            sweep.supplies.iter().filter(|one| counts_as_bank(sweep, one.source)).collect();
        for one in &channels {
            if power_of(one).is_ok() && !self.answered.contains(&one.source) {
                self.answered.push(one.source);
            }
        }
        // A source that the owner turned into something else no longer counts.
        self.answered.retain(|&source| {
            sweep.sources.get(usize::from(source.0)).is_none_or(|report| {
                report.role == Role::Bank && report.state != SourceState::LeftAlone
            })
        });
        channels
    }

    /// Sums the bank's channels. One that is missing makes the sum unknown: a part of it would
    /// pass for the whole.
    fn by_sensors(
        &mut self,
        sweep: &Sweep,
        channels: &[&SupplyReading],
        dt: Seconds,
        gauge: Option<Gauge>,
    ) -> Picked {
        let mut power = Watts::ZERO;
        let mut amps: Got<Amps> = Ok(Amps::ZERO);
        let mut volts: Got<Volts> = Err(Gap::NotReady);
        let mut silent = None;
        for &source in &self.answered {
            let seen = channels.iter().find(|one| one.source == source);
            let got = seen.map_or(Err(gap_of(sweep, source)), |one| power_of(one));
            match got {
                Ok(watts) => power = power + watts,
                Err(gap) => silent = silent.or(Some((source, gap))),
            }
            amps = match (amps, seen.map_or(Err(gap_of(sweep, source)), |one| one.amps)) {
                (Ok(sum), Ok(more)) => Ok(sum + more),
                (Err(gap), _) | (_, Err(gap)) => Err(gap),
            };
            if volts.is_err() {
                volts = seen.map_or(Err(gap_of(sweep, source)), |one| one.volts);
            }
        }
        let shown = silent.map_or(Ok(power), |(_, gap)| Err(gap));
        let by_count = self.counted_power(channels, dt);
        let measured = match (shown, by_count) {
            (Ok(_), Some(mean)) => Ok(mean),
            (shown, _) => shown,
        };
        Picked {
            supply: Supply {
                volts,
                current: amps,
                power: shown,
                source: self.answered.first().copied(),
            },
            measured: Some(measured),
            silent,
            by: By::Sensor,
            gauge,
        }
    }

    /// Mean power since the last sweep from the chips' own energy counts, where every channel that
    /// counts keeps one. A chip adds up every conversion, so it sees what a look a second misses.
    fn counted_power(&mut self, channels: &[&SupplyReading], dt: Seconds) -> Option<Watts> {
        let mut energy = Joules::ZERO;
        let mut all = !self.answered.is_empty();
        for one in channels.iter().filter(|one| self.answered.contains(&one.source)) {
            let Some(Ok(now)) = one.counted else {
                all = false;
                self.counted.retain(|(source, _)| *source != one.source);
                continue;
            };
            match self.counted.iter_mut().find(|(source, _)| *source == one.source) {
                Some((_, before)) => {
                    energy = energy + (now - *before);
                    *before = now;
                }
                None => {
                    self.counted.push((one.source, now));
                    all = false;
                }
            }
        }
        let counting = self.answered.len() == self.counted.len();
        if !all || !counting || dt.si() <= 0.0 {
            return None;
        }
        let mean = Watts::of(energy.si() / dt.si());
        // A count that has been started afresh or has run over would look like this.
        let sane = mean.si().abs() <= MOST_WATTS && mean.si() >= -0.01;
        sane.then_some(mean)
    }

    fn by_gauge(&mut self, sweep: &Sweep, gauge: Option<Gauge>) -> Option<Picked> {
        let first = sweep.gauges.first().map(|one| one.source);
        if gauge.is_some_and(|all| all.watts.is_some()) {
            self.gauge_answered = self.gauge_answered.or(first);
        }
        let source = self.gauge_answered?;
        let gap = sweep
            .gauges
            .iter()
            .find_map(|one| one.amps.err().or(one.volts.err()))
            .unwrap_or_else(|| gap_of(sweep, source));
        let measured = gauge.and_then(|all| all.watts).ok_or(gap);
        Some(Picked {
            supply: Supply {
                volts: gauge.and_then(|all| all.volts).ok_or(gap),
                current: gauge.and_then(|all| all.amps).ok_or(gap),
                power: measured,
                source: Some(source),
            },
            measured: Some(measured),
            silent: measured.is_err().then_some((source, gap)),
            by: By::Gauge,
            gauge,
        })
    }
}

fn counts_as_bank(sweep: &Sweep, source: SourceIx) -> bool {
    sweep
        .sources
        .get(usize::from(source.0))
        .is_some_and(|report| report.role == Role::Bank && report.state != SourceState::LeftAlone)
}

/// The channel's power: as handed over, else volts times amps; never an impossible one.
fn power_of(one: &SupplyReading) -> Got<Watts> {
    let watts = one.watts.or_else(|gap| match (one.volts, one.amps) {
        (Ok(volts), Ok(amps)) => Ok(volts * amps),
        _ => Err(gap),
    })?;
    if watts.si().abs() > MOST_WATTS { Err(Gap::Implausible) } else { Ok(watts) }
}

/// Why a source that should be in the sweep is not.
fn gap_of(sweep: &Sweep, source: SourceIx) -> Gap {
    match sweep.sources.get(usize::from(source.0)).map(|report| report.state) {
        Some(SourceState::Silent { gap, .. }) => gap,
        _ => Gap::Gone,
    }
}

/// Adds up several gauges: draws and energies add, one that drains makes the whole drain.
fn together(gauges: &[GaugeReading]) -> Option<Gauge> {
    let first = gauges.first()?;
    let sum = |of: &dyn Fn(&GaugeReading) -> Option<f64>| {
        gauges.iter().map(of).try_fold(0.0, |all, one| one.map(|one| all + one))
    };
    let watts = sum(&|one| Some((one.volts.ok()? * one.amps.ok()?).si())).and_then(Watts::new);
    let flows = |want: Flow| gauges.iter().any(|one| one.flow == want);
    let flow = if flows(Flow::Draining) {
        Flow::Draining
    } else if flows(Flow::Charging) {
        Flow::Charging
    } else if flows(Flow::Resting) {
        Flow::Resting
    } else {
        Flow::Unknown
    };
    Some(Gauge {
        volts: first.volts.ok(),
        watts: watts.filter(|watts| watts.si().abs() <= MOST_WATTS),
        amps: sum(&|one| one.amps.ok().map(Amps::si)).and_then(Amps::new),
        left: sum(&|one| one.energy_left.ok().map(Joules::si))
            .and_then(Joules::new)
            .filter(|left| left.si() >= 0.0),
        level: sum(&|one| one.level.ok().map(Share::part))
            .map(|all| Share::nearest(all / f64::from(u16::try_from(gauges.len()).unwrap_or(1)))),
        flow,
    })
}
