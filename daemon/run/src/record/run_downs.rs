//! Run-downs: an outing's rows made into what its bank learns from, and the learning done again
//! from the record. The only place where the record's run-downs and the estimator's meet.

use history::{Change, Reader, Trouble};
use reckon::{
    bank::{BankSpec, MeasuredAt},
    belief::last_end::start_of,
    engine::{Start, few_steps},
    estimator::{self, Estimator, FED_OTHERWISE_W, Learned, LoadPrior, Observation},
    record::{Channel, Ending, Outing, RecordedRunDown, Row, RunDown},
    units::Share,
};

/// A shorter outing teaches nothing that is worth a line, s.
const WORTH_S: f64 = 600.0;
/// So many of the newest outings are looked through for some that are not credited yet.
const LOOK_BACK: usize = 12;

/// What these run-downs teach about the bank; struck ones teach nothing.
pub(crate) fn learned(bank: &BankSpec, kept: &[RecordedRunDown]) -> Learned {
    let runs = kept.iter().filter(|one| !one.struck).filter_map(|one| one.data.to_learn_from());
    Learned::from_rundowns(bank, runs)
}

/// A bank nobody has drawn from is taken to last so long, h: about what a small board makes of it.
const USUAL_H: f64 = 12.0;

/// Usable energy of the full bank as believed before it is connected, Wh: 10 %, 50 %, 90 %; at the
/// draw of the run-downs it has learned from, else at one that takes half a day. Where a sensor
/// measures, it is told a second of that draw, so that it speaks of measured watt-hours.
pub(crate) fn usable_wh(bank: &BankSpec, learned: &Learned) -> Option<[f64; 3]> {
    let mut estimator = Estimator::new(bank, &LoadPrior::default(), learned, Start::Full);
    if bank.measured_at != MeasuredAt::Nowhere {
        let runs = learned.rundowns_data();
        let usual = bank.label_energy().wh() / USUAL_H;
        let watts = runs.last().map_or(usual, estimator::RunDown::mean_w);
        let second = Observation { dt_s: 1.0, watts: Some(watts), ..Observation::default() };
        estimator.step(&second);
    }
    estimator.usable_wh()
}

/// Everything that the record teaches, by the bank's name.
///
/// # Errors
/// When the record cannot be read.
pub(crate) fn learned_by_bank(reader: &Reader) -> Result<Vec<(String, Learned)>, Trouble> {
    let mut all = Vec::new();
    for bank in reader.banks()? {
        let learned = learned(&bank.spec, &reader.rundowns(bank.id)?);
        if learned.rundowns() > 0 {
            all.push((bank.spec.name, learned));
        }
    }
    Ok(all)
}

/// Run-downs of closed outings that were not credited yet, oldest first.
///
/// # Errors
/// When the record cannot be read.
pub(crate) fn uncredited(reader: &Reader, load: &LoadPrior) -> Result<Vec<Change>, Trouble> {
    let banks = reader.banks()?;
    let mut entries = Vec::new();
    for outing in reader.outings(None, LOOK_BACK)?.items.iter().rev() {
        let bank = banks.iter().find(|bank| Some(&bank.spec.name) == outing.bank.as_ref());
        let Some(bank) = bank.filter(|_| teaches(outing)) else { continue };
        if reader.rundowns(bank.id)?.iter().any(|one| one.outing == Some(outing.id)) {
            continue;
        }
        if let Some(data) = of_outing(&bank.spec, outing, &reader.rows(outing.id)?, load) {
            entries.push(Change::RunDown {
                bank: bank.spec.name.clone(),
                outing: Some(outing.id),
                data,
            });
        }
    }
    Ok(entries)
}

fn teaches(outing: &Outing) -> bool {
    outing.ending != Ending::Open && outing.lasted_s >= WORTH_S
}

/// Whether the bank was run down to its end; where only a chance is known the likelier is taken,
/// until the operator says.
fn died(ending: Ending) -> bool {
    match ending {
        Ending::Died => true,
        Ending::PowerLost { died } => died >= 0.5,
        Ending::Open | Ending::SwitchedOff | Ending::Swapped => false,
    }
}

/// An outing as a run-down: its rows go through an estimator of their own, which notes what later
/// ones can use. `None` without any energy in them.
pub(crate) fn of_outing(
    bank: &BankSpec,
    outing: &Outing,
    rows: &[Row],
    load: &LoadPrior,
) -> Option<RunDown> {
    let start = start_of(outing.start_share);
    let spec = BankSpec { measured_at: seen_at(bank, rows), ..bank.clone() };
    let mut follower = Estimator::new(&spec, load, &Learned::default(), start);
    let mut at_s = 0.0;
    for row in rows {
        // A hole in the rows is a gap, which the estimator bridges.
        if row.from_s > at_s + 1.0 {
            follower.step(&Observation { dt_s: row.from_s - at_s, ..Observation::default() });
        }
        follower.step(&observation(row));
        at_s = row.to_s();
    }
    let ending =
        if died(outing.ending) { estimator::Ending::Died } else { estimator::Ending::Stopped };
    let seen = follower.close(ending);
    if !(seen.energy_wh > 0.0 && seen.energy_wh.is_finite()) {
        return None;
    }
    // Time in which something else fed the board is no part of a run-down.
    let fed = |row: &&Row| row.get(Channel::Watts).is_some_and(|it| it.mean < FED_OTHERWISE_W);
    let fed_s: f64 = rows.iter().filter(fed).map(|row| row.span_s).sum();
    Some(RunDown {
        lasted_s: outing.lasted_s - fed_s,
        within_s: outing.ended_within_s.unwrap_or(0.0),
        ..RunDown::from(&seen)
    })
}

/// How full a bank was, as the record has it: 1 is full, nothing is unknown.
pub(crate) fn share_of(start: Start) -> Option<f64> {
    start.middle().map(Share::part)
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

/// What was seen in an outing, in few steps; nothing where the record cannot be read.
pub(crate) fn steps(reader: &Reader, outing: i64) -> Vec<Observation> {
    match reader.rows(outing) {
        Ok(rows) => few_steps(rows.iter().map(observation)),
        Err(trouble) => {
            tracing::warn!("{trouble}");
            Vec::new()
        }
    }
}

fn observation(row: &Row) -> Observation {
    let mean = |channel| row.get(channel).map(|fold| fold.mean);
    Observation {
        dt_s: row.span_s,
        watts: mean(Channel::Watts).map(|watts| watts.max(0.0)),
        volts: mean(Channel::Watts).and(mean(Channel::Volts)),
        amps: mean(Channel::Watts).and(mean(Channel::Amps)),
        cpu_busy: Some(mean(Channel::Busy).unwrap_or(0.25)),
        cpu_temp_c: mean(Channel::Temp),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use reckon::record::Stats;

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

    fn outing(ending: Ending, hours: f64) -> Outing {
        Outing {
            id: 1,
            bank: Some("Blue ten".into()),
            name: None,
            start_share: Some(1.0),
            began: None,
            ended: None,
            ended_within_s: Some(12.0),
            ending,
            lasted_s: hours * 3600.0,
            energy_wh: None,
            bridged_wh: None,
            mean_power_w: None,
            peak_power_w: None,
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
            let seen = of_outing(&blue_ten(), &outing(ending, 10.0), &rows(10, 3.0), &load);
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
        let seen = of_outing(&blue_ten(), &outing(Ending::Died, 3.0), &some, &load).unwrap();
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
        let seen = of_outing(&blue_ten(), &outing(Ending::Died, 4.0), &some, &load).unwrap();
        assert!((seen.bridged_wh.unwrap() - 3.0).abs() < 0.2, "{seen:?}");
        assert!((seen.delivered_wh.unwrap() - 12.0).abs() < 0.2, "{seen:?}");
        assert_eq!(of_outing(&blue_ten(), &outing(Ending::Died, 4.0), &[], &load), None);
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
            struck,
            data: data.clone(),
        };
        let some = [kept(1, false), kept(2, true), kept(3, false)];
        assert_eq!(learned(&blue_ten(), &some).rundowns(), 2);
    }
}
