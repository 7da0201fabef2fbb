//! The finish on Now: its words, its verdict and its alarm are one, every second.

use core::time::Duration;

use super::*;
use crate::{
    engine::Command,
    snapshot::{About, Verdict},
    words,
};

/// The finish alarm that stands, as a verdict.
fn alarmed(snapshot: &Snapshot) -> Verdict {
    let limit = snapshot.alarms.iter().find_map(|alarm| match alarm.about {
        About::FinishAtRisk { below_percent } => Some(below_percent),
        _ => None,
    });
    match limit {
        None => Verdict::Enough,
        Some(0..=50) => Verdict::Short,
        Some(_) => Verdict::Tight,
    }
}

/// How the words of one second fit its alarm; whether they leave it open.
fn fits(snapshot: &Snapshot) -> bool {
    let said = words::safe(snapshot).unwrap();
    let line = said.finish.unwrap().replace('\u{a0}', " ");
    let (short, open) = (line.contains("short of"), line.starts_with("Not sure"));
    let alarm = alarmed(snapshot);
    let at_s = snapshot.at.mono.as_s();
    assert_eq!(snapshot.finish.unwrap().verdict, Some(alarm), "{line} after {at_s} s");
    assert_eq!(short, alarm != Verdict::Enough, "{line} and {alarm:?} after {at_s} s");
    for alarm in &snapshot.alarms {
        if matches!(alarm.about, About::FinishAtRisk { .. }) {
            let strip = words::strip(alarm, snapshot);
            assert!(strip.starts_with(&format!("{:?} for", alarmed(snapshot))), "{strip}");
        }
    }
    open
}

#[test]
fn words_verdict_and_alarm_of_the_finish_agree_every_second() {
    let mut field = Field::blue_ten();
    field.seconds(3600, |_| measured(5.0, 0.8));
    let after =
        Duration::from_secs_f64(lasts(field.last.as_ref().unwrap()).cautious().si() - 600.0);
    field.ask(&Command::Finish { after: Some(after) }).unwrap();
    let (mut seen, mut open_s, mut as_if, mut turned) = ([0; 3], 0, 0, 0);
    let mut before = Verdict::Enough;
    // The draw rises by a half and falls again, slowly, and wavers by a quarter.
    for k in 0..16_000_u32 {
        let slow = 1.0 - libm::cos(f64::from(k) / 16_000.0 * core::f64::consts::TAU);
        let waver = 0.25 * libm::sin(f64::from(k) * 0.71) * libm::sin(f64::from(k) * 0.013);
        let snapshot = field.second(measured(5.0, 0.8 * (1.0 + 0.25 * slow + waver)));
        open_s = if fits(&snapshot) { open_s + 1 } else { 0 };
        assert!(open_s <= 60, "not longer than the alarm is held");
        let now = alarmed(&snapshot);
        seen[now as usize] += 1;
        turned += u32::from(now != before);
        before = now;
        let part = snapshot.finish.unwrap().chance.unwrap().part();
        as_if += u32::from((part < 0.9) != (now != Verdict::Enough));
    }
    assert!(seen.iter().all(|seconds| *seconds > 300), "through both limits: {seen:?}");
    assert!((4..=6).contains(&turned), "there and back, without flapping: {turned}");
    assert!(as_if > 100, "the bare chance would have contradicted the alarm, {as_if} s");
}

#[test]
fn a_finish_that_is_moved_is_answered_in_the_same_second() {
    let mut field = Field::blue_ten();
    let snapshot = field.seconds(1800, |_| measured(5.0, 0.8));
    let cautious_s = lasts(&snapshot).cautious().si();
    for (off_s, verdict) in
        [(-1800.0, Verdict::Enough), (900.0, Verdict::Tight), (-1800.0, Verdict::Enough)]
    {
        let after = Some(Duration::from_secs_f64(cautious_s + off_s));
        field.ask(&Command::Finish { after }).unwrap();
        let snapshot = field.second(measured(5.0, 0.8));
        assert_eq!(alarmed(&snapshot), verdict, "{off_s}");
        assert!(!fits(&snapshot), "{off_s}");
    }
}

/// The end of a bank that lasts past the finish is told when the finish has passed, and the countdown
/// does not wait for that.
#[test]
fn a_safe_finish_quiets_what_comes_after_it_but_not_the_power_off() {
    use crate::power_off::PowerOffWants;
    let setup = || Setup {
        bank: Some(blue_ten()),
        start: Start::Part(Share::nearest(0.1)),
        power_off: PowerOffWants { unit: true, ..PowerOffWants::default() },
        ..setup()
    };
    let mut plain = Field::new(setup());
    let mut with = Field::new(setup());
    let mut quieted_s = 0;
    for k in 0..4000_u32 {
        let sweep = || measured(5.0, 0.8);
        let (one, other) = (plain.second(sweep()), with.second(sweep()));
        assert_eq!(one.power_off, other.power_off, "after {k} s");
        if k == 120 {
            let low = lasts(&other).cautious().si();
            let after = Some(Duration::from_secs_f64((low - 240.0).max(60.0)));
            with.ask(&Command::Finish { after }).unwrap();
            plain.ask(&Command::Finish { after: None }).unwrap();
        }
        let told = |snapshot: &Snapshot| {
            snapshot.alarms.iter().any(|it| matches!(it.about, About::RunningOut { .. }))
        };
        if other
            .finish
            .is_some_and(|it| it.at > other.at.mono && it.verdict == Some(Verdict::Enough))
        {
            assert!(!told(&other), "after {k} s: {:?}", other.alarms);
            quieted_s += u32::from(told(&one));
        }
    }
    assert!(quieted_s > 300, "told without a finish only: {quieted_s} s");
}
