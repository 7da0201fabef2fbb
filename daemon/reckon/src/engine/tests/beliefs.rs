//! The seams of real life through the whole engine: which bank, how full, how did it end.

use super::*;
use crate::{
    belief::{Answer, Question, SinceLast, Standing, Story, last_end::HowEnded},
    engine::{Carried, Choices, Command, Refusal, Resume},
    power_off::{PowerOff, PowerOffWants},
    units::Seconds,
};

/// What an outing had used: so many hours at 3 W.
pub(super) fn used(hours: f64) -> Carried {
    Carried {
        outing: Some(String::from("Ridge above the reservoir")),
        start: Start::Full,
        span: Seconds::of(3600.0 * hours),
        delivered: Joules::from_wh(3.0 * hours),
        bridged: Joules::ZERO,
        over_range: Joules::ZERO,
        steps: Vec::new(),
    }
}

pub(super) fn since(hours: f64) -> SinceLast {
    SinceLast { outing: Some(4), ..SinceLast::undated(used(hours)) }
}

pub(super) fn three_watts() -> Sweep {
    measured(5.0, 0.6)
}

pub(super) fn away() -> Sweep {
    measured(0.0, 0.0)
}

pub(super) fn answer(field: &mut Field, question: Question, answer: Option<Answer>) {
    field.ask(&Command::Answer { question, answer }).unwrap();
}

/// The board shall stay on.
fn answer_off(field: &mut Field) {
    field.second(three_watts());
    field.ask(&Command::PowerOff(crate::power_off::PowerOffAsk::Stop)).unwrap();
}

fn open(snapshot: &Snapshot) -> Vec<Question> {
    snapshot.questions.iter().filter(|one| one.is_open()).map(|one| one.question).collect()
}

fn running_out(snapshot: &Snapshot) -> bool {
    snapshot.alarms.iter().any(|one| matches!(one.about, crate::snapshot::About::RunningOut { .. }))
}

/// A bank that has given nearly all that it can, minutes before its end.
pub(super) fn dying(countdown: core::time::Duration) -> Field {
    let power_off = PowerOffWants { unit: true, countdown, ..PowerOffWants::default() };
    let spec = Some(blue_ten());
    let mut field = Field::new(Setup { bank: spec, power_off, ..setup() });
    let run = crate::record::RunDown {
        whole: true,
        start_share: Some(1.0),
        lasted_s: 36_000.0,
        delivered_wh: Some(30.0),
        measured: true,
        ..crate::record::RunDown::default()
    };
    let known = crate::estimator::Learned::from_rundowns(&blue_ten(), vec![run; 4]);
    field.engine.note_learned(vec![(String::from("Blue ten"), known)]);
    field.engine.carry_on(&used(9.75));
    field
}

/// The same, and counting.
fn counting() -> Field {
    let mut field = dying(core::time::Duration::from_mins(30));
    field.seconds(90, |_| three_watts());
    field
}

#[test]
fn a_sweep_of_no_volts_while_current_flows_is_a_gap() {
    let (mut field, mut calm) = (Field::blue_ten(), Field::blue_ten());
    let before = field.seconds(600, |_| three_watts());
    let calm = calm.seconds(631, |_| three_watts());
    let snapshot = field.second(measured(0.0, 0.6));
    assert_eq!(snapshot.supply.volts, Err(Gap::Implausible));
    let after = field.seconds(30, |_| three_watts());
    assert_eq!(after.outing_began, before.outing_began);
    assert!(after.questions.iter().all(|one| one.question != Question::Swapped));
    near(after.bank.delivered.wh(), 3.0 * 631.0 / 3600.0, 0.01, "delivered");
    near(hours(&lasts(&after))[0], hours(&lasts(&calm))[0], 0.1, "cautious");
}

#[test]
fn in_the_countdown_of_a_dying_bank_neither_a_zero_nor_a_dip_calls_anything_off() {
    let mut field = counting();
    let snapshot = field.second(three_watts());
    assert!(matches!(snapshot.power_off, PowerOff::Counting { .. }), "{:?}", snapshot.power_off);
    for odd in [measured(0.0, 0.6), away(), away(), away()] {
        field.second(odd);
    }
    let snapshot = field.seconds(20, |_| three_watts());
    assert!(matches!(snapshot.power_off, PowerOff::Counting { .. }), "{:?}", snapshot.power_off);
    assert!(running_out(&snapshot) && lasts(&snapshot).cautious().si() < 300.0);
    assert_eq!(snapshot.outing_began, Mono::at_s(10.0));
}

#[test]
fn a_supply_that_was_away_widens_the_range_and_clears_no_warning() {
    let mut field = counting();
    field.seconds(40, |_| away());
    let snapshot = field.seconds(40, |_| three_watts());
    assert_eq!(open(&snapshot), [Question::Swapped]);
    assert_eq!(snapshot.possibilities.len(), 2, "{:?}", snapshot.possibilities);
    let [low, _, high] = hours(&lasts(&snapshot));
    assert!(low < 0.1 && high > 2.0, "{low} to {high}");
    assert!(running_out(&snapshot));
    assert!(matches!(snapshot.power_off, PowerOff::Counting { .. }), "{:?}", snapshot.power_off);
    // The word: another bank. What was said of the old one is over.
    answer(&mut field, Question::Swapped, Some(Answer::Another));
    let snapshot = field.seconds(300, |_| three_watts());
    assert!(!running_out(&snapshot) && snapshot.possibilities.is_empty());
    assert!(!matches!(snapshot.power_off, PowerOff::Counting { .. }));
    assert!(snapshot.outing_began > Mono::at_s(100.0));
    near(snapshot.bank.delivered.wh(), 3.0 * 340.0 / 3600.0, 0.02, "since it came");
    assert_eq!(open(&snapshot), [Question::HowFull]);
    // Taken back: as it was, and what was drawn since is the old bank's.
    answer(&mut field, Question::Swapped, None);
    let snapshot = field.seconds(30, |_| three_watts());
    assert_eq!(snapshot.outing_began, Mono::at_s(10.0));
    assert!(snapshot.bank.delivered.wh() > 29.2, "{}", snapshot.bank.delivered.wh());
    assert!(running_out(&snapshot));
    answer(&mut field, Question::Swapped, Some(Answer::Same));
    let snapshot = field.seconds(30, |_| three_watts());
    assert!(snapshot.possibilities.is_empty() && lasts(&snapshot).cautious().si() < 300.0);
}

#[test]
fn a_bank_that_lives_on_long_after_its_end_was_changed_while_the_supply_was_away() {
    let mut field = counting();
    answer_off(&mut field);
    field.seconds(40, |_| away());
    let early = field.seconds(40, |_| three_watts());
    assert_eq!(open(&early), [Question::Swapped]);
    let late = field.seconds(3 * 3600, |_| three_watts());
    let view = late.questions.iter().find(|one| one.question == Question::Swapped).unwrap();
    assert_eq!((view.answer, view.standing), (Some(Answer::Another), Standing::Inferred));
    assert!(running_out(&late), "what is inferred clears no warning");
    assert_eq!(late.outing_began, Mono::at_s(10.0), "and ends no outing");
}

#[test]
fn an_absence_draws_nothing_and_is_not_usual() {
    let mut field = Field::blue_ten();
    let before = field.seconds(1800, |_| three_watts());
    // Fed otherwise for three quarters of an hour.
    let snapshot = field.seconds(2700, |_| measured(5.0, 0.01));
    near(snapshot.bank.delivered.wh(), before.bank.delivered.wh(), 0.05, "delivered");
    let snapshot = field.seconds(10, |_| three_watts());
    let (then, now) = (hours(&lasts(&before)), hours(&lasts(&snapshot)));
    for k in 0..3 {
        near(now[k], then[k], 0.04 * then[k], "hours left");
    }
}

#[test]
fn after_a_boot_that_nobody_can_date_the_range_spans_both_and_warnings_go_by_the_worse() {
    let mut field = Field::blue_ten();
    field.second(three_watts());
    field.engine.note_since(Some(since(8.0)));
    let snapshot = field.seconds(60, |_| three_watts());
    assert_eq!(open(&snapshot), [Question::SinceLast]);
    let [low, _, high] = hours(&lasts(&snapshot));
    let stories: Vec<Story> = snapshot.possibilities.iter().map(|one| one.story).collect();
    assert_eq!(stories, [Story::GoesOn, Story::Charged, Story::AnyLevel]);
    assert!(low < 1.0 && high > 7.0, "{low} to {high}");
    assert!(running_out(&snapshot), "the cautious story is nearly empty");
    assert_eq!(field.engine.start(), Start::Unknown);

    // Each answer takes effect at once, and can be taken back.
    answer(&mut field, Question::SinceLast, Some(Answer::GoesOn));
    let on = field.second(three_watts());
    assert_eq!((on.goes_on, on.outing.as_deref()), (Some(4), Some("Ridge above the reservoir")));
    near(on.bank.delivered.wh(), 24.05, 0.02, "with what went before");
    assert_eq!(field.engine.start(), Start::Full);
    answer(&mut field, Question::SinceLast, Some(Answer::Charged));
    let charged = field.seconds(2, |_| three_watts());
    assert_eq!((charged.goes_on, charged.outing.clone()), (None, None));
    assert!(hours(&lasts(&charged))[0] > 2.0 && charged.possibilities.is_empty());
    answer(&mut field, Question::SinceLast, None);
    let again = field.seconds(2, |_| three_watts());
    assert_eq!(open(&again), [Question::SinceLast]);
    near(hours(&lasts(&again))[2], high, 0.2, "as before");
}

#[test]
fn what_is_merely_inferred_takes_no_warning_back() {
    let mut field = Field::blue_ten();
    field.second(three_watts());
    field.engine.note_since(Some(since(9.0)));
    let snapshot = field.seconds(60, |_| three_watts());
    assert!(running_out(&snapshot));
    // The phone tells the time: six days. Charged, most likely; nobody has said so.
    field.engine.note_off(Seconds::of(6.0 * 86_400.0));
    let snapshot = field.seconds(600, |_| three_watts());
    let view = snapshot.questions.iter().find(|one| one.question == Question::SinceLast).unwrap();
    assert_ne!(view.standing, Standing::Said);
    let uncharged = snapshot.possibilities.iter().find(|one| one.story == Story::GoesOn).unwrap();
    assert!(uncharged.weight.part() < crate::belief::PLAUSIBLE, "{uncharged:?}");
    assert!(running_out(&snapshot), "it stands till somebody says");
    // The number goes by the same story as the warning.
    assert_eq!(snapshot.cautious_story(), Some(Story::GoesOn));
    assert_eq!(snapshot.cautious_case().unwrap()[0], uncharged.remaining[0]);
    answer(&mut field, Question::SinceLast, Some(Answer::Charged));
    assert!(!running_out(&field.seconds(300, |_| three_watts())));
}

#[test]
fn a_bank_that_outlives_what_was_left_of_it_was_charged() {
    let mut field = Field::blue_ten();
    field.second(three_watts());
    field.engine.note_since(Some(since(9.5)));
    let first = field.seconds(60, |_| three_watts());
    let weight = |snapshot: &Snapshot, story| {
        snapshot
            .possibilities
            .iter()
            .find(|one| one.story == story)
            .map_or(0.0, |one| one.weight.part())
    };
    let early = weight(&first, Story::GoesOn);
    let late = weight(&field.seconds(6 * 3600, |_| three_watts()), Story::GoesOn);
    assert!(early > 0.3 && late < 0.05, "{early} then {late}");
}

#[test]
fn a_word_on_the_level_settles_it_too() {
    let mut field = Field::blue_ten();
    field.second(three_watts());
    field.engine.note_since(Some(since(4.0)));
    field.seconds(60, |_| three_watts());
    let half = Answer::named("0.5").unwrap();
    // Not asked before it is known whether the outing goes on; said in the terminal all the same?
    answer(&mut field, Question::SinceLast, Some(Answer::Another));
    assert_eq!(open(&field.second(three_watts())), [Question::HowFull]);
    answer(&mut field, Question::HowFull, Some(half));
    let snapshot = field.seconds(2, |_| three_watts());
    assert!(open(&snapshot).is_empty() && snapshot.possibilities.is_empty());
    let Start::Part(level) = field.engine.start() else { panic!("{:?}", field.engine.start()) };
    assert!((level.part() - 0.5).abs() < 1e-9);
    answer(&mut field, Question::HowFull, None);
    assert_eq!(open(&field.seconds(2, |_| three_watts())), [Question::HowFull]);
}

#[test]
fn what_is_not_asked_and_what_is_no_answer_is_refused() {
    let mut field = Field::blue_ten();
    field.seconds(5, |_| three_watts());
    let ask = |question, answer| Command::Answer { question, answer: Some(answer) };
    let refused = [
        (ask(Question::Swapped, Answer::Same), Refusal::NotAsked),
        (ask(Question::SinceLast, Answer::Same), Refusal::NoSuchAnswer),
        (ask(Question::BankChanged, Answer::Undo), Refusal::NotAsked),
    ];
    for (ask, why) in refused {
        assert_eq!(field.ask(&ask), Err(why), "{ask:?}");
    }
}

#[test]
fn the_connected_bank_changes_nothing_and_another_one_can_be_taken_back() {
    let mut field = Field::blue_ten();
    field.ask(&Command::Finish { after: Some(core::time::Duration::from_hours(5)) }).unwrap();
    let before = field.seconds(1800, |_| three_watts());
    field.ask(&Command::UseBank { bank: blue_ten(), start: None }).unwrap();
    let same = field.second(three_watts());
    assert_eq!(same.outing_began, before.outing_began);
    assert!(same.bank.delivered > before.bank.delivered && same.bank.changed.is_none());

    let other = BankSpec::common()[2].clone();
    field.ask(&Command::UseBank { bank: other.clone(), start: None }).unwrap();
    let changed = field.seconds(300, |_| three_watts());
    assert_ne!(changed.outing_began, before.outing_began);
    assert!(changed.questions.iter().any(|one| one.question == Question::BankChanged));
    answer(&mut field, Question::BankChanged, Some(Answer::Undo));
    let back = field.seconds(2, |_| three_watts());
    assert_eq!(back.outing_began, before.outing_began);
    assert_eq!(back.bank.spec.as_ref().unwrap().name, "Blue ten");
    near(back.bank.delivered.wh(), 3.0 * 2103.0 / 3600.0, 0.01, "nothing is lost");
    assert!(back.finish.is_some());
    near(hours(&lasts(&back))[1], hours(&lasts(&before))[1] - 303.0 / 3600.0, 0.3, "hours");

    // After ten minutes it stands.
    field.ask(&Command::UseBank { bank: other, start: Some(Start::Full) }).unwrap();
    let late = field.seconds(620, |_| three_watts());
    assert!(late.bank.changed.is_none());
    let undo = Command::Answer { question: Question::BankChanged, answer: Some(Answer::Undo) };
    assert_eq!(field.ask(&undo), Err(Refusal::NotAsked));
}

#[test]
fn a_bank_that_came_in_the_middle_and_is_then_told_of_keeps_what_it_gave() {
    let mut field = Field::blue_ten();
    let before = field.seconds(1800, |_| three_watts());
    field.seconds(40, |_| away());
    field.seconds(600, |_| three_watts());
    answer(&mut field, Question::Swapped, Some(Answer::Another));
    let came = field.second(three_watts()).outing_began;
    let green = BankSpec { name: String::from("Green ten"), ..blue_ten() };
    field.ask(&Command::UseBank { bank: green, start: Some(Start::Full) }).unwrap();
    let snapshot = field.seconds(60, |_| three_watts());
    assert_eq!(
        (snapshot.outing_began, snapshot.bank.spec.as_ref().unwrap().name.as_str()),
        (came, "Green ten")
    );
    near(snapshot.bank.delivered.wh(), 3.0 * 661.0 / 3600.0, 0.02, "since it came");
    // Undone twice: which bank it is, and that another one came at all.
    answer(&mut field, Question::BankChanged, Some(Answer::Undo));
    let snapshot = field.second(three_watts());
    assert_eq!(snapshot.outing_began, came);
    near(snapshot.bank.delivered.wh(), 3.0 * 662.0 / 3600.0, 0.02, "nothing twice");
    answer(&mut field, Question::Swapped, None);
    let snapshot = field.seconds(40, |_| three_watts());
    assert_eq!(snapshot.outing_began, before.outing_began);
    near(snapshot.bank.delivered.wh(), 3.0 * 2502.0 / 3600.0, 0.03, "all of it");
}

#[test]
fn the_very_first_start_takes_the_bank_for_full_and_says_that_it_does() {
    let mut field = Field::blue_ten();
    let snapshot = field.seconds(60, |_| three_watts());
    let view = snapshot.questions.iter().find(|one| one.question == Question::HowFull).unwrap();
    assert_eq!(view.standing, Standing::Inferred);
    assert_eq!(field.engine.start(), Start::Full);
    assert!(snapshot.possibilities.is_empty());
}

#[test]
fn a_restart_in_another_boot_without_any_record_is_doubted_as_well() {
    // The settings name the bank; nobody has ever chosen one. 3.6 Wh are gone.
    let choices = Choices {
        delivered: Joules::from_wh(3.6),
        counted: Seconds::of(4320.0),
        ..Choices::default()
    };
    let resume = Resume { choices, same_boot: false };
    let mut field = Field::new(Setup { bank: Some(blue_ten()), resume: Some(resume), ..setup() });
    let snapshot = field.seconds(60, |_| three_watts());
    assert_eq!(open(&snapshot), [Question::SinceLast]);
    assert!(snapshot.possibilities.iter().any(|one| one.story == Story::GoesOn));
}

#[test]
fn a_restart_of_the_daemon_alone_forgets_no_doubt_about_the_supply() {
    let mut field = Field::blue_ten();
    field.seconds(1800, |_| three_watts());
    field.seconds(40, |_| away());
    field.seconds(600, |_| three_watts());
    let choices = field.engine.choices();
    let resume = Resume { choices, same_boot: true };
    let setup = Setup { bank: Some(blue_ten()), resume: Some(resume), ..setup() };
    field.engine = Engine::new(setup, field.stamp());
    let snapshot = field.seconds(40, |_| three_watts());
    assert!(open(&snapshot).contains(&Question::Swapped));
    near(snapshot.bank.delivered.wh(), 3.0 * 2440.0 / 3600.0, 0.02, "of the outing");
    answer(&mut field, Question::Swapped, Some(Answer::Another));
    let snapshot = field.seconds(2, |_| three_watts());
    near(snapshot.bank.delivered.wh(), 3.0 * 642.0 / 3600.0, 0.02, "since it came");
}

#[test]
fn what_the_operator_says_of_the_last_end_moves_the_belief() {
    let mut field = Field::blue_ten();
    field.second(three_watts());
    field.engine.note_since(Some(SinceLast { died: 0.4, ..since(7.0) }));
    let ended = |said| Some(HowEnded { outing: 4, died: 0.4, said });
    field.engine.note_last_ended(ended(None));
    let snapshot = field.seconds(30, |_| three_watts());
    assert!(open(&snapshot).contains(&Question::HowEnded));
    field.engine.note_last_ended(ended(Some(true)));
    let empty = field.seconds(30, |_| three_watts());
    assert!(field.engine.belief().weight_of(Story::GoesOn) <= 0.051);
    assert!(hours(&lasts(&empty))[0] >= hours(&lasts(&snapshot))[0]);
    field.engine.note_last_ended(ended(Some(false)));
    assert!(field.engine.belief().weight_of(Story::GoesOn) > 0.5);
}

#[test]
fn a_pack_goes_through_its_transmissions_as_one_outing() {
    let six = BankSpec { name: String::from("Long six"), ..BankSpec::common()[2].clone() };
    assert_eq!(six.measured_at, MeasuredAt::Cells, "{six:?}");
    let mut field = Field::new(Setup { bank: Some(six), ..setup() });
    // 12.6 V at 0.6 A; every half minute 13 s of 11.9 V at 5 A, for an hour.
    let slot = |k: u32| if k % 30 < 13 { measured(11.9, 5.0) } else { measured(12.6, 0.6) };
    let snapshot = field.seconds(3600, slot);
    assert_eq!(snapshot.outing_began, Mono::at_s(10.0));
    assert!(snapshot.questions.iter().all(|one| one.question != Question::Swapped));
    let watts = (13.0 * 11.9 * 5.0 + 17.0 * 12.6 * 0.6) / 30.0;
    near(snapshot.bank.delivered.wh(), watts, 0.1, "an hour's energy");
}
