//! States after answers, absences and restarts in every order.

use super::{
    beliefs::{answer, away, dying, since, three_watts},
    *,
};
use crate::{
    belief::{Answer, Question, SinceLast, Standing},
    engine::{Command, Resume},
    power_off::PowerOff,
    snapshot::About,
    units::Seconds,
};

fn standing(snapshot: &Snapshot, q: Question) -> Option<Standing> {
    snapshot.questions.iter().find(|one| one.question == q).map(|one| one.standing)
}
fn level(text: &str) -> Option<Answer> {
    Answer::named(text)
}

#[test]
fn absence_after_a_level_was_said_is_asked() {
    let mut f = Field::blue_ten();
    f.seconds(600, |_| three_watts());
    answer(&mut f, Question::HowFull, level("0.375"));
    f.seconds(3600, |_| three_watts());
    f.seconds(120, |_| away());
    let snapshot = f.seconds(60, |_| three_watts());
    assert_eq!(
        standing(&snapshot, Question::Swapped),
        Some(Standing::Open),
        "{:?}",
        snapshot.questions
    );
    assert_eq!(snapshot.possibilities.len(), 2);
}

#[test]
fn second_absence_does_not_undo_the_word_on_the_first() {
    let mut f = Field::blue_ten();
    f.seconds(3600, |_| three_watts());
    f.seconds(40, |_| away());
    f.seconds(60, |_| three_watts());
    answer(&mut f, Question::Swapped, Some(Answer::Another));
    let one = f.seconds(3600, |_| three_watts());
    f.seconds(40, |_| away());
    let two = f.seconds(60, |_| three_watts());
    assert_eq!(two.outing_began, one.outing_began, "the first word stands");
    assert!(two.bank.delivered.wh() < 3.2, "{}", two.bank.delivered.wh());
}

#[test]
fn goes_on_against_the_odds_then_absence() {
    let mut f = Field::blue_ten();
    f.second(three_watts());
    f.engine.note_since(Some(SinceLast { off: Some(Seconds::of(6.0 * 86_400.0)), ..since(4.0) }));
    f.seconds(60, |_| three_watts());
    answer(&mut f, Question::SinceLast, Some(Answer::GoesOn));
    f.seconds(600, |_| three_watts());
    f.seconds(40, |_| away());
    let snapshot = f.seconds(60, |_| three_watts());
    assert_eq!(standing(&snapshot, Question::Swapped), Some(Standing::Open));
}

#[test]
fn joined_then_doubt_keeps_the_energy_and_the_start() {
    let mut f = Field::blue_ten();
    f.second(three_watts());
    f.engine.note_since(Some(since(6.0)));
    f.seconds(60, |_| three_watts());
    answer(&mut f, Question::SinceLast, Some(Answer::GoesOn));
    f.seconds(600, |_| three_watts());
    f.seconds(40, |_| away());
    let snapshot = f.seconds(60, |_| three_watts());
    assert!(snapshot.bank.delivered.wh() > 18.0, "{}", snapshot.bank.delivered.wh());
}

#[test]
fn restart_in_a_doubt_about_the_supply_keeps_the_start() {
    let mut f = Field::blue_ten();
    f.ask(&Command::UseBank { bank: blue_ten(), start: Some(Start::Full) }).unwrap();
    f.seconds(1800, |_| three_watts());
    f.seconds(40, |_| away());
    f.seconds(60, |_| three_watts());
    let resume = Resume { choices: f.engine.choices(), same_boot: true };
    f.engine =
        Engine::new(Setup { bank: Some(blue_ten()), resume: Some(resume), ..setup() }, f.stamp());
    f.seconds(10, |_| three_watts());
    answer(&mut f, Question::Swapped, Some(Answer::Same));
    f.seconds(10, |_| three_watts());
    assert_eq!(f.engine.start(), Start::Full);
}

#[test]
fn an_inference_does_not_clear_the_finish_alarm() {
    let mut f = Field::blue_ten();
    f.second(three_watts());
    f.engine.note_since(Some(since(6.0)));
    f.ask(&Command::Finish { after: Some(core::time::Duration::from_secs(5 * 3600)) }).unwrap();
    let at_risk = |snapshot: &Snapshot| {
        snapshot.alarms.iter().any(|one| matches!(one.about, About::FinishAtRisk { .. }))
    };
    let snapshot = f.seconds(300, |_| three_watts());
    assert!(at_risk(&snapshot), "raised");
    f.engine.note_off(Seconds::of(20.0 * 86_400.0));
    let snapshot = f.seconds(1200, |_| three_watts());
    assert!(at_risk(&snapshot), "cleared by an inference");
}

#[test]
fn joined_then_another_then_restart_counts_the_time_of_one_bank() {
    let mut f = Field::blue_ten();
    f.second(three_watts());
    f.engine.note_since(Some(since(6.0)));
    f.seconds(60, |_| three_watts());
    answer(&mut f, Question::SinceLast, Some(Answer::GoesOn));
    f.seconds(600, |_| three_watts());
    f.seconds(40, |_| away());
    f.seconds(60, |_| three_watts());
    answer(&mut f, Question::Swapped, Some(Answer::Another));
    f.seconds(1800, |_| three_watts());
    let choices = f.engine.choices();
    let resume = Resume { choices, same_boot: true };
    f.engine =
        Engine::new(Setup { bank: Some(blue_ten()), resume: Some(resume), ..setup() }, f.stamp());
    f.seconds(60, |_| three_watts());
    assert!(f.engine.choices().counted.si() < 3600.0);
}

#[test]
fn taking_back_what_was_never_answered_undoes_no_bank() {
    let mut f = Field::blue_ten();
    f.seconds(600, |_| three_watts());
    f.ask(&Command::UseBank { bank: BankSpec::common()[2].clone(), start: None }).unwrap();
    f.seconds(10, |_| three_watts());
    let back = Command::Answer { question: Question::BankChanged, answer: None };
    let done = f.ask(&back);
    let snapshot = f.second(three_watts());
    assert!(done.is_err(), "{done:?} {:?}", snapshot.bank.spec.as_ref().map(|s| s.name.clone()));
}

#[test]
fn joined_by_inference_it_goes_on_under_its_name() {
    let mut f = Field::blue_ten();
    f.second(three_watts());
    f.engine.note_since(Some(since(2.0)));
    f.seconds(60, |_| three_watts());
    f.engine.note_off(Seconds::of(40.0));
    let snapshot = f.seconds(30, |_| three_watts());
    assert_eq!(snapshot.goes_on, Some(4));
    assert_eq!(snapshot.outing.as_deref(), Some("Ridge above the reservoir"));
}

#[test]
fn a_bank_of_the_settings_is_not_full_again_after_a_restart_of_the_daemon() {
    let mut f = Field::blue_ten();
    f.second(three_watts());
    f.engine.note_since(Some(since(6.0)));
    f.seconds(60, |_| three_watts());
    answer(&mut f, Question::SinceLast, Some(Answer::Another));
    answer(&mut f, Question::HowFull, level("0.375"));
    f.seconds(600, |_| three_watts());
    let resume = Resume { choices: f.engine.choices(), same_boot: true };
    f.engine =
        Engine::new(Setup { bank: Some(blue_ten()), resume: Some(resume), ..setup() }, f.stamp());
    f.seconds(60, |_| three_watts());
    assert_ne!(f.engine.start(), Start::Full);
}

#[test]
fn a_level_said_of_the_other_bank_and_second_absence() {
    let mut f = Field::blue_ten();
    f.seconds(3600, |_| three_watts());
    f.seconds(40, |_| away());
    f.seconds(60, |_| three_watts());
    answer(&mut f, Question::Swapped, Some(Answer::Another));
    answer(&mut f, Question::HowFull, level("0.375"));
    f.seconds(3600, |_| three_watts());
    f.seconds(40, |_| away());
    let two = f.seconds(60, |_| three_watts());
    assert_eq!(standing(&two, Question::Swapped), Some(Standing::Open));
}

#[test]
fn a_crash_after_an_absence_counts_to_the_last_row_for_either_bank() {
    let mut f = Field::blue_ten();
    f.seconds(1800, |_| three_watts());
    f.seconds(40, |_| away());
    f.seconds(60, |_| three_watts());
    // Written now (a tap), then the daemon is killed two hours later: the record has the rows.
    let mut choices = f.engine.choices();
    f.seconds(7200, |_| three_watts());
    choices.counted_to = f.engine.choices().counted_to;
    choices.counted = f.engine.choices().counted;
    choices.delivered = f.engine.choices().delivered;
    let resume = Resume { choices, same_boot: true };
    f.engine =
        Engine::new(Setup { bank: Some(blue_ten()), resume: Some(resume), ..setup() }, f.stamp());
    f.seconds(10, |_| three_watts());
    answer(&mut f, Question::Swapped, Some(Answer::Another));
    let snapshot = f.seconds(10, |_| three_watts());
    near(snapshot.bank.delivered.wh(), 6.05, 0.1, "since it came");
}

#[test]
fn undo_of_a_change_keeps_what_was_bridged() {
    let mut f = Field::blue_ten();
    f.seconds(1800, |_| three_watts());
    f.ask(&Command::UseBank { bank: BankSpec::common()[2].clone(), start: None }).unwrap();
    f.seconds(60, |_| three_watts());
    let mut hole = three_watts();
    hole.supplies[0].watts = Err(Gap::Late);
    hole.supplies[0].amps = Err(Gap::Late);
    f.seconds(240, |_| hole.clone());
    answer(&mut f, Question::BankChanged, Some(Answer::Undo));
    let snapshot = f.seconds(2, |_| three_watts());
    assert!(snapshot.bank.bridged.wh() > 0.15);
}

#[test]
fn a_bank_plugged_in_then_tapped_begins_when_it_came() {
    let mut f = Field::blue_ten();
    f.seconds(3600, |_| three_watts());
    f.seconds(40, |_| away());
    f.seconds(1200, |_| three_watts());
    f.ask(&Command::UseBank { bank: BankSpec::common()[1].clone(), start: Some(Start::Full) })
        .unwrap();
    let snapshot = f.seconds(60, |_| three_watts());
    assert!(snapshot.bank.delivered.wh() > 1.0);
}

#[test]
fn a_word_that_nobody_asked_for_leaves_nothing_when_taken_back() {
    let mut f = Field::blue_ten();
    f.ask(&Command::UseBank { bank: blue_ten(), start: Some(Start::Full) }).unwrap();
    f.seconds(600, |_| three_watts());
    let was = hours(&lasts(&f.second(three_watts())))[1];
    f.engine.note_since(Some(SinceLast { by_word: true, ..since(6.0) }));
    answer(&mut f, Question::SinceLast, Some(Answer::GoesOn));
    f.seconds(10, |_| three_watts());
    answer(&mut f, Question::SinceLast, None);
    let back = hours(&lasts(&f.seconds(10, |_| three_watts())))[1];
    // The minutes before are told again as means, so a little of the draw's temper is lost.
    near(back, was, 0.5, "hours left, as before");
    assert_eq!(f.engine.start(), Start::Full);
}

#[test]
fn mains_in_the_countdown_calls_it_off() {
    let mut f = dying(core::time::Duration::from_secs(120));
    let mut counting = |_| matches!(f.second(three_watts()).power_off, PowerOff::Counting { .. });
    assert!((0..600).any(&mut counting));
    // Plugged into the mains: nothing comes out of the bank any more.
    let snapshot = f.seconds(151, |_| measured(5.1, 0.0));
    assert!(
        !matches!(
            snapshot.power_off,
            PowerOff::Saving { .. } | PowerOff::Closing { .. } | PowerOff::Asked { .. }
        ),
        "{:?}",
        snapshot.power_off
    );
}
