//! Picks what a sweep says about the draw: the bank's sensors, else a gauge, else the model.

use alloc::vec::Vec;

use crate::{
    reading::{
        AtLeast, Flow, Gap, GaugeReading, Got, Role, SourceIx, SourceState, SupplyReading, Sweep,
    },
    snapshot::Supply,
    time::Mono,
    units::{Amps, Joules, Seconds, Share, Volts, Watts},
};

/// More than any bank in this trade delivers; a power beyond it is a broken reading.
const MOST_WATTS: f64 = 5000.0;

/// Below this voltage no supply of ours carries this current, V and A: a sensor's offsets are a
/// tenth of that (data sheets of the INA series).
const NO_VOLTS: f64 = 0.5;
const SOME_AMPS: f64 = 0.05;

/// What one sweep says about the bank.
#[derive(Clone, Debug)]
pub(super) struct SelectedSource {
    /// As it is shown.
    pub(super) supply: Supply,
    /// What a sensor or gauge measures, if there is one that has ever answered.
    pub(super) measured: Option<Got<Watts>>,
    /// Whether that is the mean since the sweep before by the chips' own counts, so that it holds
    /// for all of that time however long it was.
    pub(super) counted: bool,
    /// Whose silence is behind a missing measurement.
    pub(super) silent: Option<(SourceIx, Gap)>,
    /// Which sensor is at the end of its range, and where that is.
    pub(super) over_range: Option<(SourceIx, Amps)>,
    /// Who measured.
    pub(super) by: MeasuredBy,
    /// What the gauges say together.
    pub(super) gauge: Option<Gauge>,
}

impl SelectedSource {
    /// What was measured of the power, at the end of a range that end.
    pub(super) fn watts(&self) -> Option<Watts> {
        self.measured.and_then(Result::ok).or(self.supply.at_least.map(|it| it.watts))
    }
}

/// Who measures the draw.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum MeasuredBy {
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

/// The bank's channels added up.
struct Sum {
    power: Watts,
    amps: Got<Amps>,
    /// Of the first that tells.
    volts: Got<Volts>,
    /// The first that is missing.
    silent: Option<(SourceIx, Gap)>,
    /// The first that is at the end of its range, which counts as far as that reaches.
    beyond: Option<(SourceIx, AtLeast)>,
}

/// Remembers who has ever measured, and each chip's last energy count.
#[derive(Clone, Debug, Default)]
pub(super) struct SourceSelector {
    answered: Vec<SourceIx>,
    counted: Vec<(SourceIx, Joules, Mono)>,
    gauge_answered: Option<SourceIx>,
}

impl SourceSelector {
    /// Forgets who has answered, for a new bank on what may be other terminals.
    pub(super) fn forget(&mut self) {
        self.answered.clear();
        self.gauge_answered = None;
    }

    /// What this sweep says, taken at `when`.
    pub(super) fn pick(&mut self, sweep: &Sweep, when: Mono) -> SelectedSource {
        let channels = self.bank_channels(sweep);
        let gauge = together(&sweep.gauges);
        if !self.answered.is_empty() {
            return self.by_sensors(sweep, &channels, when, gauge);
        }
        if let Some(found) = self.by_gauge(sweep, gauge) {
            return found;
        }
        let nobody = Gap::Absent;
        SelectedSource {
            supply: Supply {
                volts: sweep
                    .board
                    .input_volts
                    .or_else(|gap| gauge.and_then(|all| all.volts).ok_or(gap)),
                current: Err(nobody),
                power: Err(nobody),
                source: None,
                at_least: None,
            },
            measured: None,
            counted: false,
            silent: None,
            over_range: None,
            by: MeasuredBy::Nobody,
            gauge,
        }
    }

    /// The channels that count as the bank, and a note of those that have ever given a power.
    fn bank_channels<'a>(&mut self, sweep: &'a Sweep) -> Vec<&'a SupplyReading> {
        let channels: Vec<&SupplyReading> =
            sweep.supplies.iter().filter(|one| counts_as_bank(sweep, one.source)).collect();
        for one in &channels {
            let says = power_of(one).is_ok() || one.at_least.is_some();
            if says && !self.answered.contains(&one.source) {
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
        when: Mono,
        gauge: Option<Gauge>,
    ) -> SelectedSource {
        let sum = self.sum(sweep, channels);
        let at_least = sum.beyond.filter(|_| sum.silent.is_none()).and_then(|(source, bound)| {
            Some((source, AtLeast { amps: sum.amps.ok()?, watts: sum.power, ..bound }))
        });
        let beyond = sum.beyond.map(|_| Gap::OverRange);
        let shown = sum.silent.map(|(_, gap)| gap).or(beyond).map_or(Ok(sum.power), Err);
        let amps = beyond.map_or(sum.amps, |gap| sum.amps.and(Err(gap)));
        let by_count = self.counted_power(channels, when).filter(|_| shown.is_ok());
        let measured = by_count.map_or(shown, Ok);
        SelectedSource {
            supply: Supply {
                volts: sum.volts.or_else(|gap| sweep.board.input_volts.map_err(|_| gap)),
                current: amps,
                power: shown,
                source: self.answered.first().copied(),
                at_least: at_least.map(|(_, sum)| sum),
            },
            measured: Some(measured),
            counted: by_count.is_some(),
            silent: sum.silent,
            over_range: at_least.map(|(source, sum)| (source, sum.end)),
            by: MeasuredBy::Sensor,
            gauge,
        }
    }

    fn sum(&self, sweep: &Sweep, channels: &[&SupplyReading]) -> Sum {
        let mut all = Sum {
            power: Watts::ZERO,
            amps: Ok(Amps::ZERO),
            volts: Err(Gap::NotReady),
            silent: None,
            beyond: None,
        };
        for &source in &self.answered {
            let seen = channels.iter().find(|one| one.source == source);
            if let Some(bound) = seen.and_then(|one| one.at_least) {
                all.power = all.power + bound.watts;
                all.amps = all.amps.map(|sum| sum + bound.amps);
                all.beyond = all.beyond.or(Some((source, bound)));
                all.volts = all.volts.or_else(|gap| seen.map_or(Err(gap), |one| one.volts));
                continue;
            }
            let got = seen.map_or(Err(gap_of(sweep, source)), |one| power_of(one));
            match got {
                Ok(watts) => all.power = all.power + watts,
                Err(gap) => all.silent = all.silent.or(Some((source, gap))),
            }
            let flows = seen.map_or(Err(gap_of(sweep, source)), |one| {
                if contradicts_itself(one) { Err(Gap::Implausible) } else { one.amps }
            });
            all.amps = match (all.amps, flows) {
                (Ok(sum), Ok(more)) => Ok(sum + more),
                (Err(gap), _) | (_, Err(gap)) => Err(gap),
            };
            if all.volts.is_err() {
                all.volts = seen.map_or(Err(gap_of(sweep, source)), |one| volts_of(one));
            }
        }
        all
    }

    /// Mean power since the last sweep from the chips' own energy counts, where every channel that
    /// counts keeps one. A chip adds up every conversion, so it sees what a look a second misses.
    fn counted_power(&mut self, channels: &[&SupplyReading], when: Mono) -> Option<Watts> {
        let mut power = Some(Watts::ZERO);
        for &source in &self.answered {
            let count = channels
                .iter()
                .find(|one| one.source == source)
                .and_then(|one| one.counted)
                .and_then(Result::ok);
            let place = self.counted.iter().position(|(known, ..)| *known == source);
            let mean = match (count, place) {
                (Some(now), Some(place)) => {
                    let (_, before, then) = self.counted[place];
                    self.counted[place] = (source, now, when);
                    mean_power(now - before, when.seconds_since(then))
                }
                (Some(now), None) => {
                    self.counted.push((source, now, when));
                    None
                }
                (None, _) => None,
            };
            power = power.and_then(|sum| mean.map(|mean| sum + mean));
        }
        power
    }

    fn by_gauge(&mut self, sweep: &Sweep, gauge: Option<Gauge>) -> Option<SelectedSource> {
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
        Some(SelectedSource {
            supply: Supply {
                volts: gauge.and_then(|all| all.volts).ok_or(gap),
                current: gauge.and_then(|all| all.amps).ok_or(gap),
                power: measured,
                source: Some(source),
                at_least: None,
            },
            measured: Some(measured),
            counted: false,
            silent: measured.is_err().then_some((source, gap)),
            over_range: None,
            by: MeasuredBy::Gauge,
            gauge,
        })
    }
}

/// `None` where the count was started afresh or has run over since.
fn mean_power(energy: Joules, span: Seconds) -> Option<Watts> {
    if span.si() <= 0.0 {
        return None;
    }
    let mean = energy.si() / span.si();
    (-0.01..=MOST_WATTS).contains(&mean).then(|| Watts::of(mean))
}

pub(super) fn counts_as_bank(sweep: &Sweep, source: SourceIx) -> bool {
    sweep
        .sources
        .get(usize::from(source.0))
        .is_some_and(|report| report.role == Role::Bank && report.state != SourceState::LeftAlone)
}

/// No current flows without a voltage: one of the two was misread.
fn contradicts_itself(one: &SupplyReading) -> bool {
    match (one.volts, one.amps) {
        (Ok(volts), Ok(amps)) => volts.si() < NO_VOLTS && amps.si() > SOME_AMPS,
        _ => false,
    }
}

fn volts_of(one: &SupplyReading) -> Got<Volts> {
    if contradicts_itself(one) { Err(Gap::Implausible) } else { one.volts }
}

/// The channel's power: as handed over, else volts times amps; never an impossible one.
fn power_of(one: &SupplyReading) -> Got<Watts> {
    if contradicts_itself(one) {
        return Err(Gap::Implausible);
    }
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
