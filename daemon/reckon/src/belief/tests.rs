//! Beliefs, case by case. The rates behind them are common practice, no source; what is held here
//! is how they combine (Bayes' rule) and what a person's word does.

use alloc::{vec, vec::Vec};

use super::*;
use crate::{
    belief::Carried,
    units::{Joules, Share},
};

fn since(off_h: Option<f64>, died: f64) -> SinceLast {
    SinceLast {
        outing: Some(7),
        died,
        off: off_h.map(|hours| Seconds::of(hours * 3600.0)),
        ..SinceLast::undated(Carried {
            outing: Some("Ridge above the reservoir".into()),
            start: Start::Full,
            span: Seconds::of(36_000.0),
            delivered: Joules::from_wh(24.0),
            bridged: Joules::ZERO,
            over_range: Joules::ZERO,
            steps: Vec::new(),
        })
    }
}

fn believing(since: SinceLast) -> Belief {
    let mut belief = Belief::default();
    belief.note_since(since);
    belief
}

/// The cases that are worth showing, by name.
fn plausible(belief: &Belief) -> Vec<&'static str> {
    let cases = belief.cases().into_iter().filter(|(_, weight)| *weight >= PLAUSIBLE);
    cases.map(|(story, _)| story.name()).collect()
}

#[test]
fn the_longer_the_board_was_off_the_likelier_its_bank_was_charged() {
    let mut last = 0.0;
    for hours in [0.0, 0.02, 0.2, 1.0, 9.0, 24.0, 144.0] {
        let belief = believing(since(Some(hours), 0.0));
        let charged = 1.0 - belief.weight_of(Story::GoesOn);
        assert!(charged >= last, "{hours} h: {charged} after {last}");
        last = charged;
    }
    // A minute goes on by itself, a night is asked about, six days count as charged.
    assert!(believing(since(Some(1.0 / 60.0), 0.0)).goes_on());
    let night = believing(since(Some(9.0), 0.0));
    assert!(!night.goes_on());
    assert_eq!(plausible(&night), ["goes-on", "charged", "any-level"]);
    let week = believing(since(Some(144.0), 0.0));
    assert!(!plausible(&week).contains(&"goes-on"), "{:?}", week.cases());
}

#[test]
fn without_a_clock_nothing_is_knowledge() {
    let belief = believing(since(None, 0.0));
    assert_eq!(plausible(&belief), ["goes-on", "charged", "any-level"]);
    let asked = belief.questions(Start::Full, true);
    assert!(asked.iter().any(|one| one.question == Question::SinceLast && one.is_open()));
    // The time becomes known later, and is decided by again.
    let mut dated = belief;
    dated.since_mut().unwrap().off = Some(Seconds::of(40.0));
    assert!(dated.goes_on());
}

#[test]
fn a_bank_that_ran_empty_was_charged_or_changed_if_it_runs_a_board() {
    let belief = believing(since(None, 1.0));
    assert!(belief.weight_of(Story::GoesOn) <= PLAUSIBLE + 1e-9);
    assert!(belief.weight_of(Story::Charged) > 0.5);
}

#[test]
fn what_outlives_its_story_loses_it() {
    let mut belief = believing(since(None, 0.0));
    let before = belief.weight_of(Story::GoesOn);
    belief.note_evidence(Story::GoesOn, -6.0);
    assert!(before > 0.5 && belief.weight_of(Story::GoesOn) < 0.01);
    let total: f64 = belief.cases().iter().map(|(_, weight)| weight).sum();
    assert!((total - 1.0).abs() < 1e-12);
}

#[test]
fn a_word_settles_and_taking_it_back_restores() {
    let mut belief = believing(since(None, 0.2));
    let before = belief.clone();
    for (answer, story) in [
        (Answer::GoesOn, Story::GoesOn),
        (Answer::Charged, Story::Charged),
        (Answer::Another, Story::AnyLevel),
    ] {
        belief.since_mut().unwrap().answer = Some(answer);
        assert_eq!(belief.cases(), vec![(story, 1.0)]);
        assert_eq!(belief.goes_on(), answer == Answer::GoesOn);
        let views = belief.questions(Start::Full, true);
        let view = views.iter().find(|one| one.question == Question::SinceLast).unwrap();
        assert_eq!((view.answer, view.standing), (Some(answer), Standing::Said));
    }
    belief.since_mut().unwrap().answer = None;
    assert_eq!(belief, before);
}

#[test]
fn a_supply_that_was_away_may_be_another_bank_until_somebody_says() {
    let mut belief = Belief::default();
    belief.note_away(Away {
        from: crate::time::Mono::at_s(100.0),
        to: crate::time::Mono::at_s(140.0),
        stepped: false,
    });
    assert_eq!(plausible(&belief), ["as-told", "another-bank"]);
    let weight = belief.weight_of(Story::Swapped);
    assert!((0.4..0.7).contains(&weight), "{weight}");
    // The same bank all along, and the word taken back.
    belief.say_same(true);
    assert_eq!(
        belief.cases().iter().map(|(story, _)| story.name()).collect::<Vec<_>>(),
        ["as-told"]
    );
    belief.say_same(false);
    assert!((belief.weight_of(Story::Swapped) - weight).abs() < 1e-12);
    // A level that was said before does not hide the doubt.
    belief.say_level(Some(Start::Part(Share::nearest(0.7))));
    assert_eq!(plausible(&belief), ["as-said", "another-bank"]);
    // Another one: a belief of its own, in which how full it is, is asked next.
    let away = belief.doubted_away().unwrap();
    let other = belief.of_another(away);
    assert!(other.is_another() && other.away() == Some(away));
    let views = other.questions(Start::Unknown, false);
    assert!(views.iter().any(|one| one.question == Question::HowFull && one.is_open()));
}

#[test]
fn a_default_is_shown_as_one() {
    let belief = Belief::default();
    let views = belief.questions(Start::Full, true);
    let view = views.iter().find(|one| one.question == Question::HowFull).unwrap();
    assert_eq!(
        (view.answer, view.standing),
        (Some(Answer::Level(Share::WHOLE)), Standing::Inferred)
    );
    assert!(belief.questions(Start::Full, false).is_empty(), "what was told is not asked");
    let unknown = belief.questions(Start::Unknown, false);
    assert!(unknown.iter().any(QuestionView::is_open));
}

#[test]
fn names_go_out_and_come_back() {
    for question in Question::ALL {
        assert_eq!(Question::named(question.name()), Some(question));
    }
    for (answer, name) in Answer::NAMED {
        assert_eq!((Answer::named(name), answer.name()), (Some(answer), Some(name)));
    }
    assert_eq!(Answer::named("0.625"), Some(Answer::Level(Share::nearest(0.625))));
    for bad in ["", "0", "1.2", "NaN", "inf", "-0.5", "full", "goes on"] {
        assert_eq!(Answer::named(bad), None, "{bad}");
    }
    assert!(!Question::Swapped.takes(Answer::Charged));
}

mod supply {
    use super::super::presence::*;
    use crate::time::Mono;

    /// Plays seconds of volts and amps from a moment on; gives what was noticed, and when.
    fn play(
        watch: &mut Presence,
        from_s: u32,
        seconds: impl Iterator<Item = (f64, f64)>,
        cells: bool,
    ) -> Vec<(u32, Away)> {
        let mut seen = Vec::new();
        for (k, (volts, amps)) in (from_s..).zip(seconds) {
            let at = Mono::at_s(f64::from(k));
            seen.extend(watch.observe(at, Some(volts), Some(amps), cells).map(|away| (k, away)));
        }
        seen
    }

    fn steady(volts: f64, amps: f64, seconds: usize) -> impl Iterator<Item = (f64, f64)> {
        core::iter::repeat_n((volts, amps), seconds)
    }

    #[test]
    fn single_zeros_and_short_dips_are_no_other_bank() {
        let mut watch = Presence::default();
        let odd = [(0.0, 0.5), (5.05, 0.5), (0.0, 0.0), (0.0, 0.0), (0.0, 0.0), (5.05, 0.5)];
        let day = steady(5.05, 0.5, 300).chain(odd).chain(steady(5.05, 0.5, 300));
        assert!(play(&mut watch, 0, day, false).is_empty());
        // A minute of volts at nought while current flows is a broken reading, not an absence.
        let broken = steady(0.0, 0.5, 60).chain(steady(5.05, 0.5, 60));
        assert!(play(&mut watch, 1000, broken, false).is_empty());
    }

    #[test]
    fn an_absence_over_many_seconds_may_be() {
        let mut watch = Presence::default();
        let day = steady(5.05, 0.5, 300).chain(steady(0.02, 0.0, 40)).chain(steady(5.1, 0.5, 5));
        let seen = play(&mut watch, 0, day, false);
        assert_eq!(seen.len(), 1);
        let (at, away) = seen[0];
        assert_eq!((at, away.from, away.to), (340, Mono::at_s(299.0), Mono::at_s(340.0)));
        assert!(!away.stepped && (away.lasted_s() - 41.0).abs() < 1e-9);
    }

    #[test]
    fn a_transmission_on_a_pack_is_none() {
        // 12.6 V at 0.6 A, 11.9 V at 5 A: 0.16 ohm. Every slot of a timed mode for an hour.
        let mut watch = Presence::default();
        let slot = || steady(11.9, 5.0, 13).chain(steady(12.6, 0.6, 17));
        let hour = steady(12.6, 0.6, 200).chain((0..120).flat_map(|_| slot()));
        assert!(play(&mut watch, 0, hour, true).is_empty());
        // One long over of voice, the first of the day: three minutes.
        let mut watch = Presence::default();
        let over =
            steady(12.6, 0.6, 200).chain(steady(11.9, 5.0, 180)).chain(steady(12.6, 0.6, 200));
        assert!(play(&mut watch, 0, over, true).is_empty());
    }

    #[test]
    fn a_pack_that_steps_up_and_stays_there_may_be_another() {
        // Half empty 13.1 V under 0.6 A against 13.55 V fresh (LiFePO4, four cells; trade).
        let mut watch = Presence::default();
        let day = steady(12.9, 0.6, 300).chain(steady(13.5, 0.6, 200));
        let seen = play(&mut watch, 0, day, true);
        assert_eq!(seen.len(), 1, "{seen:?}");
        assert!(seen[0].1.stepped);
        assert_eq!(seen[0].1.to, Mono::at_s(300.0));
        // The same on a regulated output says nothing.
        let day = steady(5.0, 0.6, 300).chain(steady(5.2, 0.6, 200));
        assert!(play(&mut Presence::default(), 0, day, false).is_empty());
    }

    #[test]
    fn a_pack_that_sinks_bit_by_bit_is_the_same() {
        let mut watch = Presence::default();
        let knee = (0..600).map(|k| (12.8 - f64::from(k) * 0.002, 0.6));
        assert!(play(&mut watch, 0, steady(12.8, 0.6, 200).chain(knee), true).is_empty());
    }

    #[test]
    fn a_silent_sensor_says_nothing() {
        let mut watch = Presence::default();
        play(&mut watch, 0, steady(5.0, 0.5, 60), false);
        for k in 60..200 {
            assert_eq!(watch.observe(Mono::at_s(f64::from(k)), None, None, false), None);
        }
        assert!(play(&mut watch, 200, steady(5.0, 0.5, 60), false).is_empty());
    }
}

#[test]
fn of_the_ways_it_may_have_ended_the_likelier_is_offered_first() {
    let mut belief = Belief::default();
    for (died, first) in [
        (0.0, Answer::PlugPulled),
        (0.45, Answer::PlugPulled),
        (0.5, Answer::RanEmpty),
        (0.55, Answer::RanEmpty),
        (1.0, Answer::RanEmpty),
    ] {
        belief.last_ended = Some(last_end::HowEnded { outing: 7, died, said: None });
        let views = belief.questions(Start::Full, false);
        let view = views.iter().find(|one| one.question == Question::HowEnded).unwrap();
        assert!(view.is_open() && view.answers.len() == 2, "{view:?}");
        assert_eq!(view.answers[0], first, "{died}");
    }
}
