//! What is advised, against outings whose one trouble is known. The figures are worked out by hand.

use alloc::{format, string::String, vec, vec::Vec};

use super::*;
use crate::{
    forecast::Basis,
    record::{Channel, Ending, ForecastMade, Outing, OutingContacts, OutingWhole, Row, Stats},
    report::LearnedStep,
    time::Mono,
    words::opening::next_time,
};

/// Ten hours at 3 W, 30 Wh, with nothing amiss.
fn well(ending: Ending) -> OutingWhole {
    let row = |k: u32| {
        let mut stats = [None; Channel::ALL.len()];
        stats[Channel::Watts.ix()] = Some(Stats::one(3.0));
        stats[Channel::Volts.ix()] = Some(Stats::one(5.1));
        stats[Channel::Temp.ix()] = Some(Stats::one(48.0));
        Row { from_s: f64::from(k) * 10.0, span_s: 10.0, stats }
    };
    OutingWhole {
        outing: Outing {
            bank: Some("Blue ten".into()),
            ending,
            lasted_s: 36_000.0,
            energy_wh: Some(30.0),
            ..Outing::default()
        },
        on: Vec::new(),
        rows: (0..3600).map(row).collect(),
        events: Vec::new(),
        gaps: Vec::new(),
        off_s: Vec::new(),
        forecasts: Vec::new(),
        contacts: OutingContacts { contacts: Vec::new(), undated_s: None, within_s: 0.0 },
        corrections: Vec::new(),
        folds: Vec::new(),
        loads: Vec::new(),
        plan: None,
        bank: None,
    }
}

fn of(whole: OutingWhole) -> OutingReport {
    OutingReport::from_whole(whole)
}

fn low(at_s: f64) -> Event {
    Event { at: Mono::at_s(at_s), kind: EventKind::Undervoltage, text: "4.62 V".into() }
}

fn said(told: &OutingReport) -> String {
    let advice = told.advice().unwrap();
    let (begins, rest) = next_time(&advice, Some("Blue ten"), None);
    format!("{begins}{rest}").replace('\u{a0}', " ")
}

#[test]
fn nothing_is_advised_where_nothing_shows() {
    for ending in [Ending::Died, Ending::SwitchedOff, Ending::Open] {
        assert_eq!(of(well(ending)).advice(), None, "{ending:?}");
    }
    // The supply of a dying bank falls because of the bank; one that goes on has no next time yet.
    let events = vec![low(35_000.0)];
    assert_eq!(of(OutingWhole { events, ..well(Ending::Died) }).advice(), None);
    let events = vec![low(9_000.0)];
    assert_eq!(of(OutingWhole { events, ..well(Ending::Open) }).advice(), None);
}

#[test]
fn a_finish_missed_says_what_would_have_been_enough() {
    let finish = |at_s| Event::finish_set(Mono::at_s(600.0), Some(Mono::at_s(at_s)));
    let told = of(OutingWhole { events: vec![finish(43_200.0)], ..well(Ending::Died) });
    assert_eq!(told.finish(), Some(Seconds::of(43_200.0)));
    // 30 Wh over 12 h are 2.5 W; 12 h at 3 W take 36 Wh.
    assert_eq!(
        said(&told),
        "Next time draw 2.50 W on average where it was 3.00 W, or bring 6.0 Wh more, to last 12 h."
    );
    // Two minutes short, past it, or switched off by hand: nothing to make up for.
    for (at_s, ending) in
        [(36_120.0, Ending::Died), (30_000.0, Ending::Died), (43_200.0, Ending::SwitchedOff)]
    {
        let told = of(OutingWhole { events: vec![finish(at_s)], ..well(ending) });
        assert_eq!(told.advice(), None, "{at_s} {ending:?}");
    }
    // Taken back before it came, it is none; afterwards it was one.
    let taken_back = |at_s| Event::finish_set(Mono::at_s(at_s), None);
    let events = vec![finish(43_200.0), taken_back(7200.0)];
    assert_eq!(of(OutingWhole { events, ..well(Ending::Died) }).finish(), None);
    let events = vec![finish(30_000.0), taken_back(30_100.0)];
    let told = of(OutingWhole { events, ..well(Ending::Died) });
    assert_eq!(told.finish(), Some(Seconds::of(30_000.0)));
}

#[test]
fn a_supply_too_low_asks_for_a_cable() {
    let mut whole = OutingWhole { events: vec![low(9_000.0), low(12_000.0)], ..well(Ending::Died) };
    assert_eq!(
        said(&of(whole.clone())),
        "Next time use a shorter or thicker supply cable: the supply was too low 2 times."
    );
    whole.rows[900].stats[Channel::Volts.ix()] = Some(Stats { mean: 5.0, min: 4.62, max: 5.1 });
    assert!(said(&of(whole.clone())).ends_with("too low 2 times, to 4.62 V."));
    // A bank of 12 V is measured at its own voltage: its lowest is not the board's.
    for row in &mut whole.rows {
        row.stats[Channel::Volts.ix()] = Some(Stats { mean: 12.8, min: 4.62, max: 13.0 });
    }
    assert!(said(&of(whole)).ends_with("too low 2 times."));
}

#[test]
fn heat_and_what_was_to_spare_are_told() {
    let mut whole = well(Ending::SwitchedOff);
    whole.rows[7].stats[Channel::Temp.ix()] = Some(Stats::one(82.0));
    assert!(said(&of(whole)).contains("shade and air: its processor reached 82 °C"));
    let made = |at_s, left_s: [f64; 3]| ForecastMade {
        at: Mono::at_s(at_s),
        remaining_s: left_s,
        basis: Basis::Measured,
        delivered_wh: 0.0,
        bridged_wh: 0.0,
        usable_wh: None,
    };
    let whole = |made| OutingWhole { forecasts: vec![made], ..well(Ending::SwitchedOff) };
    let told = of(whole(made(35_700.0, [5700.0, 7500.0, 9300.0])));
    assert_eq!(
        said(&told),
        "Next time there is room for about 2 h more: Blue ten still had between 1 h 30 and 2 h 30."
    );
    // An old forecast, and one with little room, promise nothing.
    assert_eq!(of(whole(made(30_000.0, [9000.0, 9900.0, 12_000.0]))).advice(), None);
    assert_eq!(of(whole(made(35_700.0, [900.0, 7500.0, 9300.0]))).advice(), None);
}

#[test]
fn what_was_learned_is_said_in_hours_at_this_draw() {
    let mut told = of(well(Ending::Died));
    told.learned =
        Some(LearnedStep { before_wh: [24.0, 29.0, 34.0], after_wh: [27.0, 30.0, 33.0] });
    assert_eq!(
        said(&told),
        "Next time expect between 9 h and 11 h from a full Blue ten at 3.0 W: it gives 27.0 Wh to \
         33.0 Wh."
    );
}
