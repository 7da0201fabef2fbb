//! What the record teaches of a bank: an outing's rows become a run-down, run-downs become what is
//! learned.

use alloc::vec::Vec;

use super::{
    BankWhole, Channel, Detail, Ending, Outing, RecordedRunDown, Row, RunDown, SwitchedOn,
};
use crate::{
    bank::{BankSpec, MeasuredAt, Start},
    belief::last_end::start_of,
    engine::few_steps,
    estimator::{Estimator, FED_OTHERWISE_W, Learned, LevelWatch, LoadPrior, Observation},
};

/// A shorter outing teaches nothing that is worth a line, s.
const WORTH_S: f64 = 600.0;

/// What these run-downs teach about the bank; struck ones teach nothing, and one whose energy is a
/// lower bound teaches as one that was cut short.
#[must_use]
pub fn learned(bank: &BankSpec, kept: &[RecordedRunDown]) -> Learned {
    Learned::from_rundowns(bank, kept.iter().filter_map(taught))
}

/// What one teaches, if it counts.
pub(super) fn taught(one: &RecordedRunDown) -> Option<RunDown> {
    (!one.struck).then(|| RunDown { whole: one.data.is_exact(), ..one.data.clone() })
}

/// How long a bank nobody has drawn from is taken to last, h: about what a small board makes of it.
const USUAL_H: f64 = 12.0;

/// Usable energy of the full bank as believed before it is connected, Wh: 10 %, 50 %, 90 %; at the
/// draw of the run-downs it has learned from, else at one that takes half a day. Where a sensor
/// measures, it is told a second of that draw, so that it speaks of measured watt-hours.
#[must_use]
pub fn usable_wh(bank: &BankSpec, learned: &Learned) -> Option<[f64; 3]> {
    let mut estimator = Estimator::new(bank, &LoadPrior::default(), learned, Start::Full);
    if bank.measured_at != MeasuredAt::Nowhere {
        let runs = learned.rundowns_data();
        let usual = bank.label_energy().wh() / USUAL_H;
        let watts = runs.last().map_or(usual, RunDown::mean_w);
        let second = Observation { dt_s: 1.0, watts: Some(watts), ..Observation::default() };
        estimator.step(&second);
    }
    estimator.usable_wh()
}

impl BankWhole {
    /// Usable energy of it full, as its run-downs teach, Wh: 10 %, 50 %, 90 %.
    #[must_use]
    pub fn usable_wh(&self) -> Option<[f64; 3]> {
        usable_wh(&self.bank.spec, &learned(&self.bank.spec, &self.run_downs))
    }
}

impl Ending {
    /// Whether the bank was run down to its end; where only a chance is known the likelier is taken,
    /// until the operator says.
    #[must_use]
    pub fn is_death(self) -> bool {
        match self {
            Ending::Died => true,
            Ending::PowerLost { died } => died >= 0.5,
            Ending::Open | Ending::SwitchedOff | Ending::Swapped => false,
        }
    }
}

/// Whether an energy is a lower bound: a hundredth of it or more was counted at the end of a sensor's
/// range (less would not show in the figures).
pub(crate) fn is_at_least(over_range_wh: f64, all_wh: f64) -> bool {
    over_range_wh > 0.0 && over_range_wh >= 0.01 * all_wh
}

impl Outing {
    /// Whether it is over and long enough to learn from.
    #[must_use]
    pub fn teaches(&self) -> bool {
        self.ending != Ending::Open && self.lasted_s >= WORTH_S
    }

    /// Whether its energy is a lower bound.
    #[must_use]
    pub fn is_at_least(&self) -> bool {
        is_at_least(self.over_range_wh.unwrap_or(0.0), self.energy_wh.unwrap_or(0.0))
    }

    /// The highest look, W; `None` where the sensor was at the end of its range: no look says how high
    /// it went then.
    #[must_use]
    pub fn known_peak_w(&self) -> Option<f64> {
        self.peak_power_w.filter(|_| self.over_range_wh.unwrap_or(0.0) <= 0.0)
    }

    /// Whether the bank ran empty in it and nothing is learned of that, because it was too short.
    #[must_use]
    pub fn died_too_soon(&self) -> bool {
        self.ending.is_death() && !self.teaches()
    }

    /// It as a run-down: its rows go through an estimator of their own, which notes what later
    /// ones can use. Where they were measured its energy is the outing's own; modelled, the
    /// estimator's, in which it learns. `None` without any energy in them.
    #[must_use]
    pub fn run_down(
        &self,
        bank: &BankSpec,
        (on, rows): (&[SwitchedOn], &[Row]),
        load: &LoadPrior,
    ) -> Option<RunDown> {
        let start = start_of(self.start_share);
        let spec = BankSpec { measured_at: seen_at(bank, rows), ..bank.clone() };
        let mut follower = Estimator::new(&spec, load, &Learned::default(), start);
        let mut levels = LevelWatch::default();
        for stretch in on {
            follow(&mut follower, stretch, rows);
        }
        for row in rows {
            levels.observe(&observation(row));
        }
        let seen = follower.close(self.ending.is_death());
        if !(seen.energy_wh() > 0.0 && seen.energy_wh().is_finite()) {
            return None;
        }
        // Time in which something else fed the board is no part of a run-down.
        let fed = |row: &&Row| row.get(Channel::Watts).is_some_and(|it| it.mean < FED_OTHERWISE_W);
        let fed_s: f64 = rows.iter().filter(fed).map(|row| row.span_s).sum();
        let over_range_w =
            |row: &Row| row.get(Channel::OverRange).map_or(0.0, |it| it.mean * row.span_s);
        let over_range_wh = rows.iter().map(over_range_w).sum::<f64>() / 3600.0;
        let detail = Detail {
            over_range_wh: (over_range_wh > 0.0).then_some(over_range_wh),
            draw_levels: levels.levels(load),
            ..seen.detail.clone()
        };
        let seen = RunDown {
            detail,
            lasted_s: self.lasted_s - fed_s,
            within_s: self.ended_within_s.unwrap_or(0.0),
            ..seen
        };
        Some(match self.energy_wh.filter(|wh| seen.measured && *wh > 0.0) {
            Some(wh) => RunDown {
                delivered_wh: Some(wh),
                bridged_wh: self.bridged_wh,
                mean_power_w: (seen.lasted_s > 0.0).then(|| wh * 3600.0 / seen.lasted_s),
                ..seen
            },
            None => seen,
        })
    }
}

/// The rows of a stretch; a hole in them is a gap, which the estimator bridges. While the board
/// was off nothing was drawn.
fn follow(follower: &mut Estimator, on: &SwitchedOn, rows: &[Row]) {
    let mut at_s = on.from_s;
    for row in rows.iter().filter(|row| row.from_s < on.to_s && row.to_s() > on.from_s) {
        if row.from_s > at_s + 1.0 {
            follower.step(&Observation { dt_s: row.from_s - at_s, ..Observation::default() });
        }
        follower.step(&observation(row));
        at_s = row.to_s();
    }
}

/// Where the draw was seen: told, unless what was recorded says otherwise.
fn seen_at(bank: &BankSpec, rows: &[Row]) -> MeasuredAt {
    let measured = rows.iter().filter(|row| row.get(Channel::Watts).is_some()).count();
    match bank.measured_at {
        _ if measured * 2 < rows.len() => MeasuredAt::Nowhere,
        MeasuredAt::Nowhere => MeasuredAt::Output,
        told => told,
    }
}

/// What was seen in these rows, in few steps.
#[must_use]
pub fn steps(rows: &[Row]) -> Vec<Observation> {
    few_steps(rows.iter().map(observation))
}

fn observation(row: &Row) -> Observation {
    let mean = |channel| row.get(channel).map(|fold| fold.mean);
    // A voltage says nothing of the cells beside a current that is not known.
    let current = mean(Channel::Watts).and(mean(Channel::Amps)).filter(|_| !row.is_at_least());
    Observation {
        dt_s: row.span_s,
        watts: mean(Channel::Watts).map(|watts| watts.max(0.0)),
        volts: current.and(mean(Channel::Volts)),
        amps: current,
        cpu_busy: Some(mean(Channel::Busy).unwrap_or(0.25)),
        cpu_temp_c: mean(Channel::Temp),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Stats;

    fn rows(hours: u32, watts: f64) -> Vec<Row> {
        let count = hours * 360;
        let row = |k: u32| {
            let mut stats = [None; Channel::ALL.len()];
            stats[Channel::Watts.ix()] = Some(Stats::one(watts));
            stats[Channel::Volts.ix()] = Some(Stats::one(5.0));
            stats[Channel::Amps.ix()] = Some(Stats::one(watts / 5.0));
            Row { from_s: 10.0 * f64::from(k), span_s: 10.0, stats }
        };
        (0..count).map(row).collect()
    }

    /// It as a run-down, switched on from its beginning to its end.
    fn run_down(
        outing: &Outing,
        bank: &BankSpec,
        rows: &[Row],
        load: &LoadPrior,
    ) -> Option<RunDown> {
        let on = SwitchedOn { from_s: 0.0, to_s: outing.lasted_s, boots: true };
        outing.run_down(bank, (&[on], rows), load)
    }

    fn outing(ending: Ending, hours: f64) -> Outing {
        Outing {
            id: 1,
            bank: Some("Blue ten".into()),
            start_share: Some(1.0),
            ended_within_s: Some(12.0),
            ending,
            lasted_s: hours * 3600.0,
            ..Outing::default()
        }
    }

    fn blue_ten() -> BankSpec {
        BankSpec { name: "Blue ten".into(), ..BankSpec::common()[0].clone() }
    }

    #[test]
    fn a_bank_that_is_new_is_believed_to_hold_less_than_its_label() {
        // 10 Ah at 3.7 V are 37 Wh at the cells; boost converters give 75 to 95 % of that (makers'
        // sheets), and no bank gives more at its output than its cells hold.
        let bank = BankSpec::common().remove(0);
        let [low, middle, high] = usable_wh(&bank, &Learned::default()).unwrap();
        assert!(
            low > 15.0 && low < middle && middle < high && high < 37.0,
            "{low} {middle} {high}"
        );
    }

    #[test]
    fn a_dead_bank_is_a_whole_run_down_and_a_switched_off_one_at_least() {
        for (ending, whole) in [
            (Ending::Died, true),
            (Ending::PowerLost { died: 0.9 }, true),
            (Ending::PowerLost { died: 0.2 }, false),
            (Ending::SwitchedOff, false),
            (Ending::Swapped, false),
        ] {
            let load = LoadPrior::default();
            let seen = run_down(&outing(ending, 10.0), &blue_ten(), &rows(10, 3.0), &load);
            let seen = seen.unwrap();
            assert_eq!(seen.whole, whole, "{ending:?}");
            // Power times time.
            assert!((seen.delivered_wh.unwrap() - 30.0).abs() < 0.01, "{seen:?}");
            assert_eq!((seen.lasted_s, seen.within_s, seen.measured), (36_000.0, 12.0, true));
        }
    }

    #[test]
    fn time_fed_otherwise_is_no_part_of_a_run_down() {
        let mut some = rows(3, 3.0);
        for row in &mut some[360..540] {
            row.stats[Channel::Watts.ix()] = Some(Stats::one(0.05));
        }
        let load = LoadPrior::default();
        let seen = run_down(&outing(Ending::Died, 3.0), &blue_ten(), &some, &load).unwrap();
        // Half an hour of the three: 2.5 h at 3 W.
        assert!((seen.lasted_s - 9000.0).abs() < 1e-6, "{seen:?}");
        assert!((seen.delivered_wh.unwrap() - 7.5).abs() < 0.03, "{seen:?}");
        assert!((seen.mean_power_w.unwrap() - 3.0).abs() < 0.02, "{seen:?}");
    }

    #[test]
    fn a_hole_in_the_rows_is_bridged_and_said() {
        let mut some = rows(4, 3.0);
        some.retain(|row| !(3600.0..7200.0).contains(&row.from_s));
        let load = LoadPrior::default();
        let seen = run_down(&outing(Ending::Died, 4.0), &blue_ten(), &some, &load).unwrap();
        assert!((seen.bridged_wh.unwrap() - 3.0).abs() < 0.2, "{seen:?}");
        assert!((seen.delivered_wh.unwrap() - 12.0).abs() < 0.2, "{seen:?}");
        assert_eq!(run_down(&outing(Ending::Died, 4.0), &blue_ten(), &[], &load), None);
    }

    #[test]
    fn while_the_board_was_off_nothing_was_drawn_and_the_energy_is_the_outings() {
        // Two hours, a night of nine off, two hours more: 12 Wh and not the 39 of thirteen hours.
        let mut some = rows(4, 3.0);
        for row in &mut some[720..] {
            row.from_s += 32_400.0;
        }
        let on = [(0.0, 7200.0), (39_600.0, 46_800.0)].map(|(from_s, to_s)| SwitchedOn {
            from_s,
            to_s,
            boots: true,
        });
        let load = LoadPrior::default();
        let one = outing(Ending::Died, 4.0);
        let seen = one.run_down(&blue_ten(), (&on, &some), &load).unwrap();
        assert!((seen.delivered_wh.unwrap() - 12.0).abs() < 0.01, "{seen:?}");
        assert_eq!(seen.bridged_wh, Some(0.0));
        // What the list of outings says, the list of banks says.
        let named = Outing { energy_wh: Some(12.4), bridged_wh: Some(0.4), ..one };
        let seen = named.run_down(&blue_ten(), (&on, &some), &load).unwrap();
        assert_eq!((seen.delivered_wh, seen.bridged_wh), (Some(12.4), Some(0.4)));
        assert!((seen.mean_power_w.unwrap() - 3.1).abs() < 1e-9, "{seen:?}");
    }

    /// A bank that died with a tenth of its energy counted at the end of the sensor's range gave more
    /// than was counted: it teaches as one that was cut short.
    #[test]
    fn a_run_down_with_much_beyond_the_range_is_a_lower_bound() {
        let load = LoadPrior::default();
        for (over_w, exact) in [(0.0, true), (0.03, true), (0.3, false)] {
            let mut some = rows(10, 3.0);
            for row in &mut some {
                row.stats[Channel::OverRange.ix()] = (over_w > 0.0).then_some(Stats::one(over_w));
            }
            let seen = run_down(&outing(Ending::Died, 10.0), &blue_ten(), &some, &load).unwrap();
            assert!(seen.whole, "it did die");
            assert_eq!(seen.is_exact(), exact, "{over_w} of 3 W: {:?}", seen.detail.over_range_wh);
            let kept = RecordedRunDown {
                id: 1,
                bank: 1,
                outing: Some(1),
                began: None,
                struck: false,
                outing_wh: None,
                data: seen,
            };
            let learned = learned(&blue_ten(), &[kept]);
            assert_eq!(learned.rundowns_data()[0].whole, exact, "{over_w} of 3 W");
        }
    }

    #[test]
    fn struck_ones_teach_nothing() {
        let data = RunDown {
            whole: true,
            start_share: Some(1.0),
            lasted_s: 36_000.0,
            delivered_wh: Some(31.0),
            measured: true,
            ..RunDown::default()
        };
        let kept = |id, struck| RecordedRunDown {
            id,
            bank: 1,
            outing: None,
            began: None,
            outing_wh: None,
            struck,
            data: data.clone(),
        };
        let some = [kept(1, false), kept(2, true), kept(3, false)];
        assert_eq!(learned(&blue_ten(), &some).rundowns(), 2);
    }

    #[test]
    fn an_outing_teaches_once_it_is_over_and_lasted_ten_minutes() {
        for (ending, lasted_s, teaches) in [
            (Ending::SwitchedOff, 600.0, true),
            (Ending::SwitchedOff, 599.0, false),
            (Ending::Died, 36_000.0, true),
            (Ending::Open, 36_000.0, false),
        ] {
            let one = Outing { lasted_s, ..outing(ending, 1.0) };
            assert_eq!(one.teaches(), teaches, "{ending:?} {lasted_s}");
            assert!(!one.died_too_soon(), "{ending:?} {lasted_s}");
        }
    }

    #[test]
    fn a_bank_that_died_within_ten_minutes_teaches_nothing_and_that_is_known() {
        for (ending, too_soon) in [
            (Ending::Died, true),
            (Ending::PowerLost { died: 0.9 }, true),
            (Ending::PowerLost { died: 0.1 }, false),
            (Ending::SwitchedOff, false),
            (Ending::Open, false),
        ] {
            let one = Outing { lasted_s: 480.0, ..outing(ending, 1.0) };
            assert_eq!(one.died_too_soon(), too_soon, "{ending:?}");
        }
    }

    #[test]
    fn a_bank_with_a_sensor_is_believed_in_measured_watt_hours() {
        // 37 Wh in twelve hours are 3.083 W.
        let mut told =
            Estimator::new(&blue_ten(), &LoadPrior::default(), &Learned::default(), Start::Full);
        told.step(&Observation { dt_s: 1.0, watts: Some(37.0 / 12.0), ..Observation::default() });
        let near = |a: [f64; 3], b: [f64; 3]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 0.01);
        let believed = usable_wh(&blue_ten(), &Learned::default()).unwrap();
        assert!(near(believed, told.usable_wh().unwrap()), "{believed:?}");
    }

    #[test]
    fn what_was_recorded_says_where_the_draw_was_seen() {
        let load = LoadPrior { idle_w: Some(2.5), full_w: Some(6.0), ..LoadPrior::default() };
        let measured = |of: usize, told| {
            let mut some = rows(2, 3.0);
            for row in &mut some[of..] {
                row.stats[Channel::Watts.ix()] = None;
            }
            let bank = BankSpec { measured_at: told, ..blue_ten() };
            run_down(&outing(Ending::Died, 2.0), &bank, &some, &load).unwrap().measured
        };
        // Of 720 rows at least half.
        assert!(measured(720, MeasuredAt::Output) && measured(360, MeasuredAt::Output));
        assert!(!measured(359, MeasuredAt::Output) && !measured(0, MeasuredAt::Output));
        // A sensor that nobody told of measured all the same.
        assert!(measured(720, MeasuredAt::Nowhere) && !measured(0, MeasuredAt::Nowhere));
    }

    #[test]
    fn a_second_between_two_rows_is_no_hole_and_the_outing_knows_how_long_it_was() {
        let mut some = rows(9, 3.0);
        for (k, row) in some.iter_mut().enumerate() {
            row.from_s += f64::from(u32::try_from(k).unwrap());
        }
        let load = LoadPrior::default();
        let seen = run_down(&outing(Ending::Died, 10.0), &blue_ten(), &some, &load).unwrap();
        assert_eq!((seen.bridged_wh, seen.lasted_s), (Some(0.0), 36_000.0));
        // At the very draw below which something else feeds the board it is not fed.
        let some = rows(2, FED_OTHERWISE_W);
        let seen = run_down(&outing(Ending::Died, 2.0), &blue_ten(), &some, &load).unwrap();
        assert_eq!(seen.lasted_s, 7200.0);
    }

    #[test]
    fn few_steps_tell_the_whole_time_and_energy() {
        let all = steps(&rows(10, 3.0));
        let lasted_s: f64 = all.iter().map(|step| step.dt_s).sum();
        let joules: f64 = all.iter().map(|step| step.watts.unwrap() * step.dt_s).sum();
        // 10 h at 3 W: 36 000 s and 108 kJ (SI brochure: 1 Wh = 3600 J).
        assert!((lasted_s - 36_000.0).abs() < 1e-6 && (joules - 108_000.0).abs() < 1e-3);
        assert!(all.len() < 1000, "{}", all.len());
    }
}
