//! What a plan comes to, for a person who is about to leave: how sure it is, when it would end, what would buy
//! time, and what stands in the place of each part that nobody touched.

use alloc::{format, string::String, vec::Vec};

use super::{
    calendar::Local,
    numbers::{
        TIE, amps, bare, celsius, clock_step_min, energy, left, left_brief, minutes_said, percent,
        power, range_brief, safe_min, volts, whole,
    },
};
use crate::{
    plan::{Answer, BankFound, Doing, Plan, Smallest, Wiring},
    units::{Celsius, Joules, Seconds, Share, Watts},
};

const DAY_MIN: i64 = 1440;

/// A time of day of an outing whose first is known, and how many days after that one.
fn moment(
    starts: Option<Local>,
    after: Seconds,
    step_min: i64,
    down: bool,
) -> Option<(String, i64)> {
    let starts = starts?;
    let minute = |local: Local| {
        let local_ms = local.wall.unix_ms().saturating_add(i64::from(local.utc_offset_s) * 1000);
        local_ms.div_euclid(60_000 * step_min) * step_min
    };
    let half_s = if down { 0.0 } else { 30.0 * step_min as f64 };
    let at = minute(starts.plus_s(after.si() + half_s));
    let time = format!("{:02}:{:02}", at.rem_euclid(DAY_MIN) / 60, at.rem_euclid(60));
    Some((time, at.div_euclid(DAY_MIN) - minute(starts).div_euclid(DAY_MIN)))
}

/// `17:00`, `03:50 next day`, `17:00 on day 3`.
fn with_day((time, days): &(String, i64)) -> String {
    match days {
        0 => time.clone(),
        1 => format!("{time} next day"),
        days => format!("{time} on day{TIE}{}", days + 1),
    }
}

/// Until when, or for how long: `until 17:00`, `8 h`.
fn reach(starts: Option<Local>, after: Seconds) -> String {
    match moment(starts, after, 1, false) {
        Some(time) => format!("until {}", with_day(&time)),
        None => hours(after),
    }
}

/// `8 h`, `7 h 30`.
#[must_use]
pub fn hours(time: Seconds) -> String {
    minutes_said(whole(time.si() / 60.0))
}

/// `8 in 10 to last until 17:00.`
#[must_use]
pub fn chance(chance: Share, starts: Option<Local>, after: Seconds) -> String {
    let reach = reach(starts, after);
    match chance.part() {
        ..0.05 => format!("Will hardly last {reach}."),
        0.975.. => format!("Almost sure to last {reach}."),
        0.925.. => format!("19 in 20 to last {reach}."),
        part => format!("{:.0} in 10 to last {reach}.", (10.0 * part).max(1.0)),
    }
}

/// `Would end about 17:30, 16:45 to 18:20.`
#[must_use]
pub fn ends(answer: &Answer, starts: Option<Local>) -> String {
    let [low, middle, high] = answer.lasts;
    let width = high - low;
    let step = clock_step_min(middle, width);
    let at = |time, down| moment(starts, time, step, down);
    if answer.beyond[1] {
        // Of more than 30 days no more is said.
        let at_least = minutes_said(safe_min(low, Seconds::ZERO));
        let or_more = if at_least.starts_with("more") { "" } else { " or more" };
        return format!("Would last {at_least}{or_more}.");
    }
    let (Some(from), Some(about), Some(to)) = (at(low, true), at(middle, false), at(high, false))
    else {
        let (about, range) = (left_brief(middle, width), range_brief(answer.lasts));
        return format!("Would last about {about}, {range}.");
    };
    // A day is said once where all three are of it.
    let day_of = |one: &(String, i64)| {
        if one.1 == about.1 { one.0.clone() } else { with_day(one) }
    };
    let (from, to, about) = (day_of(&from), day_of(&to), with_day(&about));
    match answer.beyond[2] {
        true => format!("Would end about {about}, {from} or later."),
        false => format!("Would end about {about}, {from} to {to}."),
    }
}

/// A mark under the drawing: `09`, `09:30`, or `2 h` where the time of day is not known.
#[must_use]
pub fn mark(starts: Option<Local>, after: Seconds, with_minutes: bool) -> String {
    match moment(starts, after, 1, false) {
        Some((time, _)) if with_minutes => time,
        Some((time, _)) => time.chars().take(2).collect(),
        None => hours(after),
    }
}

/// The finish by its flag: `17:00`, or `8 h`.
#[must_use]
pub fn flag(starts: Option<Local>, after: Seconds) -> String {
    mark(starts, after, true)
}

/// The drawing, for those who do not see it.
#[must_use]
pub fn drawn(answer: &Answer, starts: Option<Local>, finish: Seconds) -> String {
    let finish = reach(starts, finish);
    let mean = power(Watts::of(answer.draw_w));
    format!("The draw as planned, {mean} on average. Wanted {finish}. {}", ends(answer, starts))
}

/// What a change gains: `+ 1 h 15`.
#[must_use]
pub fn gains(time: Seconds) -> String {
    format!("+{TIE}{}", left(time, Seconds::ZERO))
}

/// At the head of the page: `start 09:00, 10 °C`.
#[must_use]
pub fn head(starts: Option<Local>, is_now: bool, ambient: Option<Celsius>) -> String {
    let start = match starts {
        Some(starts) if is_now => format!("start now, {}", starts.hour_minute()),
        Some(starts) => format!("start {}", starts.hour_minute()),
        None => "time not known".into(),
    };
    match ambient {
        Some(ambient) => format!("{start}, {}", celsius(ambient)),
        None => start,
    }
}

/// The smallest banks that would do, and what there is.
#[must_use]
pub fn smallest(all: &[Smallest], answer: &Answer) -> String {
    let [low, middle, high] = answer.energy_wh.map(|wh| energy(Joules::from_wh(wh)));
    let have = format!("There are {middle} ({} to {}).", bare(&low), bare(&high));
    if all.is_empty() {
        return format!("No bank of this kind would do. {have}");
    }
    let one = |it: &Smallest| {
        let odds = if it.chance > 0.92 { "19 in 20" } else { "9 in 10" };
        let usable = energy(Joules::from_wh(it.usable_wh));
        format!("For {odds}: {usable} usable, about {} on its label.", label_mah(it.label_mah))
    };
    let said: Vec<String> = all.iter().map(one).collect();
    format!("{} {have}", said.join(" "))
}

/// `9900 mAh`, to two digits that matter, rounded up.
fn label_mah(mah: f64) -> String {
    let step = libm::pow(10.0, libm::floor(libm::log10(mah.max(100.0))) - 1.0);
    format!("{:.0}{TIE}mAh", libm::ceil(mah / step) * step)
}

/// What was worked with: the draw and the banks.
#[must_use]
pub fn worked_with(answer: &Answer) -> Vec<String> {
    let draw = power(Watts::of(answer.draw_w));
    let within = percent(Share::nearest(answer.draw_log_sd));
    let mut said =
        alloc::vec![format!("Draw from the bank {draw} ±{TIE}{within} until the finish.")];
    said.extend(answer.banks.iter().map(found));
    said
}

fn found(bank: &BankFound) -> String {
    let [low, middle, high] = bank.usable_wh.map(|wh| energy(Joules::from_wh(wh)));
    let from = match bank.run_downs {
        0 => format!("by its label ({})", energy(Joules::from_wh(bank.label_wh))),
        1 => "learned from one run-down".into(),
        many => format!("learned from {many} run-downs"),
    };
    format!("{} gives {middle} ({} to {}), {from}.", bank.name, bare(&low), bare(&high))
}

/// The banks in one figure: `26.9 Wh, learned`.
#[must_use]
pub fn banks_in_force(answer: &Answer) -> String {
    let all = energy(Joules::from_wh(answer.energy_wh[1]));
    let learned = answer.banks.iter().filter(|bank| bank.run_downs > 0).count();
    match (answer.banks.len(), learned) {
        (1, 0) => format!("{all}, by its label"),
        (1, _) => format!("{all}, learned"),
        (many, _) => format!("{many} banks, {all}"),
    }
}

/// The stretches in one figure: `4, by your record`.
#[must_use]
pub fn stretches_in_force(plan: &Plan) -> String {
    let count = plan.stretches.len();
    let recorded =
        plan.stretches.iter().filter(|it| matches!(it.doing, Doing::Activity(..))).count();
    let by = match recorded {
        0 => "as told",
        some if some == count => "by your record",
        _ => "in part by your record",
    };
    format!("{count}, {by}")
}

/// Radio and sending in one figure: `12 W, a fifth of the time`.
#[must_use]
pub fn radio_in_force(plan: &Plan) -> String {
    let (mut sent_h, mut told_h) = (0.0, 0.0);
    for stretch in &plan.stretches {
        if let Doing::Shares { sent, .. } = &stretch.doing {
            sent_h += sent * stretch.hours;
            told_h += stretch.hours;
        }
    }
    match plan.load.radio_transmit_w {
        _ if told_h <= 0.0 => "as it drew here".into(),
        Some(watts) => {
            let share = percent(Share::nearest(sent_h / told_h));
            format!("{}, {share} of the time", power(Watts::of(watts)))
        }
        None => "no radio told of".into(),
    }
}

/// The temperature in force: `10 °C`.
#[must_use]
pub fn cold_in_force(plan: &Plan) -> String {
    let ambient = plan.banks.first().and_then(|bank| bank.spec.ambient);
    ambient.map_or_else(|| TEMPERATE.into(), celsius)
}

/// A mode of a plan for a list: `FT8`, `JS8 fast`.
#[must_use]
pub fn mode(name: &str) -> String {
    match name {
        "cw" => "Morse (CW)".into(),
        "ssb" => "voice, SSB".into(),
        "ssb-processed" => "voice, SSB with a speech processor".into(),
        "fm" => "voice, FM".into(),
        _ => match name.split_once('-') {
            Some((mode, speed)) => format!("{} {speed}", mode.to_uppercase()),
            None => name.to_uppercase(),
        },
    }
}

/// A kind of radio for a list: `small with display`.
#[must_use]
pub fn kind_of(name: &str) -> String {
    name.replace('-', " ")
}

/// Lead and converter in one figure: `0.12 V lost`.
#[must_use]
pub fn wire_in_force(plan: &Plan, answer: &Answer) -> String {
    match (&answer.wiring, plan.through) {
        (Some(wiring), _) => format!("{} lost", volts(wiring.drop)),
        (None, Some(through)) => format!("{} left", percent(Share::nearest(through))),
        (None, None) => "as usual".into(),
    }
}

/// What the lead from the bank costs, where one was told.
#[must_use]
pub fn lead(wiring: &Wiring) -> String {
    let at = format!(
        "At {} the lead loses {}: {} reach the far end.",
        amps(wiring.peak),
        volts(wiring.drop),
        volts(wiring.far_end)
    );
    match wiring.undervoltage {
        Some(true) => format!("{at} A 5{TIE}V board would say that its supply is too low."),
        _ => at,
    }
}

sentences! {
    /// Where nobody touched a part.
    NONE = "none";
    TEMPERATE = "about 15\u{a0}°C";
    panel_in_force(watts) = "{watts}\u{a0}W panel";
    /// Before there is an answer.
    WILL_IT_LAST = "Will it last?";
    FIRST_ANSWER = "Choose a bank, what you will do, and for how long.";
    NOT_WORKED_OUT = "Not worked out yet.";
    LOOK_AT = "Something there cannot be right:";
    LOOK_BELOW = "Something in the address cannot be right:";
    wrong_at(field, want) = "{field}: {want}";
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        plan::{self, PlanBank, Stretch},
        time::Wall,
    };

    fn at_nine() -> Option<Local> {
        Some(Local { wall: Wall::from_unix_ms(9 * 3_600_000), utc_offset_s: 0 })
    }

    fn h(hours: f64) -> Seconds {
        Seconds::of(3600.0 * hours)
    }

    fn ending(hours: [f64; 3]) -> Answer {
        let bank = PlanBank::default();
        let stretches = alloc::vec![Stretch::of_shares(8.0, 0.1, 0.0)];
        let plan = Plan { banks: alloc::vec![bank], stretches, finish_h: 8.0, ..Plan::default() };
        Answer { lasts: hours.map(h), beyond: [false; 3], ..plan::answer(&plan, &[]) }
    }

    fn plain(text: &str) -> String {
        text.replace(TIE, " ")
    }

    #[test]
    fn a_chance_is_said_in_tenths() {
        let said = |part| plain(&chance(Share::nearest(part), at_nine(), h(8.0)));
        assert_eq!(said(0.81), "8 in 10 to last until 17:00.");
        assert_eq!(said(0.94), "19 in 20 to last until 17:00.");
        assert_eq!(said(0.99), "Almost sure to last until 17:00.");
        assert_eq!(said(0.06), "1 in 10 to last until 17:00.");
        assert_eq!(said(0.01), "Will hardly last until 17:00.");
        assert_eq!(plain(&chance(Share::nearest(0.5), None, h(7.5))), "5 in 10 to last 7 h 30.");
        let next = plain(&chance(Share::nearest(0.5), at_nine(), h(20.0)));
        assert_eq!(next, "5 in 10 to last until 05:00 next day.");
    }

    #[test]
    fn an_end_is_said_with_its_range_and_a_day_once() {
        let said = |hours, starts| plain(&ends(&ending(hours), starts));
        // 9:00 and 8 h 30; the cautious end is rounded down.
        assert_eq!(said([7.83, 8.5, 9.3], at_nine()), "Would end about 17:30, 16:40 to 18:20.");
        let night = said([17.9, 18.9, 19.7], at_nine());
        assert_eq!(night, "Would end about 03:50 next day, 02:50 to 04:40.");
        let both = said([14.0, 15.5, 17.0], at_nine());
        assert_eq!(both, "Would end about 00:30 next day, 23:00 to 02:00.");
        assert_eq!(said([7.83, 8.5, 9.3], None), "Would last about 8 h 30, 7 h 40 to 9 h 20.");
        let long = Answer { beyond: [true; 3], ..ending([1500.0; 3]) };
        assert_eq!(plain(&ends(&long, at_nine())), "Would last more than 30 days.");
    }

    #[test]
    fn a_label_is_rounded_up_to_two_digits() {
        for (mah, said) in [(9_830.0, "9900 mAh"), (14_010.0, "15000 mAh"), (420.0, "420 mAh")] {
            assert_eq!(plain(&label_mah(mah)), said);
        }
    }
}
