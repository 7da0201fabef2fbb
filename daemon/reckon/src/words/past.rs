//! What has been: outings, banks, run-downs and the record, said for a person.
//!
//! Times of day are given to the second here, since an end is known to seconds; a duration shows
//! seconds only where the record knows them.

use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

use super::numbers::{TIE, celsius, chance, energy, left, percent, power, range, span, weekday};
use crate::{
    time::Wall,
    units::{Celsius, Joules, Seconds, Share, Watts},
};

/// How an outing ended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum OutingEnd {
    /// It has not.
    Open,
    /// The board was switched off.
    SwitchedOff,
    /// The bank cut out.
    Died,
    /// The power went away: the bank died with this chance, else its plug was pulled.
    PowerLost(Share),
    /// The power went away because its plug was pulled.
    Unplugged,
    /// Another bank took over.
    Swapped,
}

/// A date and time of the place: a wall time and the offset in force there, seconds east of UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Local {
    /// The moment.
    pub wall: Wall,
    /// Seconds east of UTC.
    pub utc_offset_s: i32,
}

impl Local {
    /// Whole seconds since 1970, local, rounded down.
    fn seconds(self) -> i64 {
        self.wall.unix_ms().div_euclid(1000).saturating_add(i64::from(self.utc_offset_s))
    }

    /// Later by so much.
    #[must_use]
    pub const fn plus_s(self, seconds: f64) -> Self {
        Self { wall: self.wall.plus_s(seconds), utc_offset_s: self.utc_offset_s }
    }

    /// `13:45:10`.
    #[must_use]
    pub fn time(self) -> String {
        let of_day = self.seconds().rem_euclid(86_400);
        format!("{:02}:{:02}:{:02}", of_day / 3600, of_day / 60 % 60, of_day % 60)
    }

    /// `13:45`, rounded down.
    #[must_use]
    pub fn hour_minute(self) -> String {
        let of_day = self.seconds().rem_euclid(86_400);
        format!("{:02}:{:02}", of_day / 3600, of_day / 60 % 60)
    }

    /// `Saturday 9 March 2024`.
    #[must_use]
    pub fn day(self) -> String {
        let days = self.seconds().div_euclid(86_400);
        match date_of(days) {
            Some(date) => format!("{} {}", weekday(days), day_of(date)),
            None => String::from("a day beyond the calendar"),
        }
    }

    /// `9 March 2024`.
    #[must_use]
    pub fn date(self) -> String {
        date_of(self.seconds().div_euclid(86_400))
            .map_or_else(|| String::from("a day beyond the calendar"), day_of)
    }

    const fn same_day(self, other: Self) -> bool {
        let (one, two) = (self.wall.unix_ms() / 1000, other.wall.unix_ms() / 1000);
        let off = self.utc_offset_s as i64;
        one.saturating_add(off).div_euclid(86_400) == two.saturating_add(off).div_euclid(86_400)
    }
}

fn day_of((year, month, day): (i64, i64, i64)) -> String {
    const MONTHS: [&str; 12] = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    let name = usize::try_from(month - 1).ok().and_then(|ix| MONTHS.get(ix)).unwrap_or(&"");
    format!("{day}{TIE}{name} {year}")
}

/// Year, month, day of a count of days since 1970-01-01, in the proleptic Gregorian calendar that
/// RFC 3339 uses, by whole 400-year cycles of 146 097 days, years beginning in March. `None` for
/// years that four digits cannot hold.
#[must_use]
pub fn date_of(days_since_1970: i64) -> Option<(i64, i64, i64)> {
    let from_year_0 = days_since_1970.checked_add(719_468)?;
    let cycle = from_year_0.div_euclid(146_097);
    let in_cycle = from_year_0.rem_euclid(146_097);
    let year_of_cycle =
        (in_cycle - in_cycle / 1_460 + in_cycle / 36_524 - in_cycle / 146_096) / 365;
    let in_year = in_cycle - (365 * year_of_cycle + year_of_cycle / 4 - year_of_cycle / 100);
    let from_march = (5 * in_year + 2) / 153;
    let day = in_year - (153 * from_march + 2) / 5 + 1;
    let month = if from_march < 10 { from_march + 3 } else { from_march - 9 };
    let year = year_of_cycle + cycle * 400 + i64::from(month <= 2);
    (0..=9999).contains(&year).then_some((year, month, day))
}

/// A duration known to so much: `9 h 40 min 12 s` where that is under a minute, else `9 h 40`.
fn duration(seconds: f64, known_to_s: f64) -> String {
    if known_to_s >= 60.0 || !(60.0..1e7).contains(&seconds) {
        return span(Seconds::of(seconds));
    }
    let whole = libm::round(seconds);
    let (hours, rest) = (libm::floor(whole / 3600.0), libm::fmod(whole, 3600.0));
    let (min, s) = (libm::floor(rest / 60.0), libm::fmod(rest, 60.0));
    if hours > 0.0 {
        format!("{hours:.0}{TIE}h{TIE}{min:02.0}{TIE}min{TIE}{s:02.0}{TIE}s")
    } else {
        format!("{min:.0}{TIE}min{TIE}{s:02.0}{TIE}s")
    }
}

/// How long something lasted whose end lies within an interval: `9 h 40 min 12 s (± 5 s)`, given
/// the shortest that fits what is known, and by how much it may be longer or shorter.
#[must_use]
pub fn lasted(shortest: Seconds, longer: Seconds, shorter: Seconds) -> String {
    let (longer, shorter) = (longer.si().max(0.0), shorter.si().max(0.0));
    let middle = shortest.si() + (longer - shorter) / 2.0;
    let half = f64::midpoint(longer, shorter);
    if half < 0.5 {
        return duration(middle, 1.0);
    }
    format!("{} (±{TIE}{})", duration(middle, half), span(Seconds::of(libm::ceil(half))))
}

/// How long an outing that goes on has lasted: `2 h 14 so far`.
#[must_use]
pub fn so_far(lasted: Seconds) -> String {
    format!("{} so far", span(lasted))
}

/// When an outing began: `Saturday 9 March 2024 at 08:02`.
#[must_use]
pub fn began(began: Option<Local>) -> String {
    match began {
        Some(began) => format!("{} at{TIE}{}", began.day(), began.hour_minute()),
        None => String::from("On a day that the board did not know"),
    }
}

/// An outing's name, or what stands for one.
#[must_use]
pub fn outing_name(name: Option<&str>, began: Option<Local>) -> String {
    match (name, began) {
        (Some(name), _) => name.to_string(),
        (None, Some(began)) => format!("Outing of {}", began.date()),
        (None, None) => String::from("Outing of an unknown day"),
    }
}

/// The end of an outing as a sentence; `ended` is the last moment known to be part of it.
#[must_use]
pub fn ending(end: OutingEnd, ended: Option<Local>, within: Option<Seconds>) -> String {
    let when = ended.map_or_else(String::new, |ended| format!(" {}", between(ended, within)));
    match end {
        OutingEnd::Open => String::from("It is still going on."),
        OutingEnd::SwitchedOff => format!("The board was switched off{when}."),
        OutingEnd::Died => format!("The bank died{when}."),
        OutingEnd::PowerLost(_) => {
            format!("The power went away{when}: the bank died, or its plug was pulled.")
        }
        OutingEnd::Unplugged => format!("The plug was pulled{when}."),
        OutingEnd::Swapped => format!("Another bank took over{when}."),
    }
}

/// `between 13:45:10 and 13:45:20`, or `at 13:45:10`.
fn between(ended: Local, within: Option<Seconds>) -> String {
    let width_s = within.map_or(0.0, Seconds::si);
    if width_s < 1.0 {
        return format!("at{TIE}{}", ended.time());
    }
    let last = ended.plus_s(width_s);
    let next_day = if last.same_day(ended) { "" } else { " of the next day" };
    format!("between{TIE}{} and{TIE}{}{next_day}", ended.time(), last.time())
}

/// What lies in front of the operator when the power went away: the question, and what the
/// forecast thinks.
#[must_use]
pub fn how_ended(died: Share) -> String {
    let part = died.part();
    if part >= 0.95 {
        return String::from("By the forecast the bank was due: it most likely died.");
    }
    if part <= 0.05 {
        return String::from("By the forecast a lot was left: most likely the plug was pulled.");
    }
    format!("By the forecast and the hour, the chance that the bank died is {}.", chance(died))
}

/// Energy and mean draw of an outing: `31.4 Wh, 3.2 W on average`.
#[must_use]
pub fn took(energy_wh: Option<Joules>, mean: Option<Watts>, peak: Option<Watts>) -> String {
    let mut parts: Vec<String> = Vec::new();
    parts.extend(energy_wh.map(energy));
    parts.extend(mean.map(|mean| format!("{} on average", power(mean))));
    parts.extend(peak.map(|peak| format!("{} at most", power(peak))));
    if parts.is_empty() {
        return String::from("The draw is not known.");
    }
    parts.join(", ")
}

/// What was bridged over gaps, where that is worth a word.
#[must_use]
pub fn bridged(all: Option<Joules>, bridged: Option<Joules>) -> Option<String> {
    let (all, bridged) = (all?, bridged?);
    let worth = bridged.wh() > 0.005 && bridged.wh() > 0.005 * all.wh();
    worth.then(|| format!("Of that, {} was not read but bridged over gaps.", energy(bridged)))
}

/// A moment of an outing: the time of day where it is known, and how far into it.
#[must_use]
pub fn moment_of(began: Option<Local>, at: Seconds) -> String {
    let into =
        if at.si() < 30.0 { String::from("at the start") } else { format!("after {}", span(at)) };
    match began {
        Some(began) => format!("{}, {into}", began.plus_s(at.si()).time()),
        None => capital(&into),
    }
}

pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().into_iter().flat_map(char::to_uppercase).chain(letters).collect()
}

/// What sort of thing happened; `kind` as the record names it.
#[must_use]
pub fn event(kind: &str, text: &str) -> String {
    let said = match kind {
        "undervoltage" => "The supply was too low",
        "strain" => "The board was strained",
        "missed_sweeps" => "Readings were missed",
        "mark" => "Mark",
        "activity" if text.is_empty() => return String::from("No activity from now on"),
        "activity" => "Activity",
        "alarm_raised" => "Alarm",
        "alarm_cleared" => "Alarm over",
        "clock_step" => "The clock was set",
        _ => "",
    };
    match (said, text.trim()) {
        (said, "") => said.to_string(),
        ("", text) => text.to_string(),
        (said, text) => format!("{said}: {text}"),
    }
}

/// A gap: `The sensor did not answer for 40 s (why)`.
#[must_use]
pub fn silence(source: &str, lasted: Option<Seconds>, why: &str) -> String {
    let why = why.trim().trim_end_matches('.');
    let why = if why.is_empty() { String::new() } else { format!(": {why}") };
    match lasted {
        Some(lasted) => format!("{source} was silent for {}{why}.", span(lasted)),
        None => format!("{source} fell silent and did not come back{why}."),
    }
}

/// One forecast against what came: `between 5 h 50 and 7 h 30; it was 6 h 40`.
#[must_use]
pub fn forecast_then(remaining: [Seconds; 3], truth: Option<Seconds>) -> String {
    let said = range(remaining);
    let width = Seconds::of(remaining[2].si() - remaining[0].si());
    match truth {
        Some(truth) => format!("{said}; it was {}", left(truth, width)),
        None => said,
    }
}

/// The forecasts of an outing as a whole. `held` of `all` had the true end between their ends; the
/// middle one of them missed it by `miss`, as a share of what then remained by the other.
#[must_use]
pub fn forecasts(held: usize, all: usize, miss: Option<(Seconds, Share)>) -> String {
    let held = match (held, all) {
        (_, 0) => return String::from("No forecast was made."),
        (1, 1) => String::from("The one forecast made held the true end."),
        (0, 1) => String::from("The one forecast made missed the true end."),
        (held, all) if held == all => format!("All {all} forecasts made held the true end."),
        (held, all) => format!("{held} of {all} forecasts made held the true end."),
    };
    let miss = miss.map(|(miss, share)| {
        let share = percent(share);
        format!(" Half of the middles were within {} of it, {share} of what remained.", span(miss))
    });
    format!("{held}{} Wanted are 8 in 10.", miss.unwrap_or_default())
}

/// What the drawing of an outing's forecasts shows.
pub const FORESIGHT: &str =
    "Each forecast as the length of the whole outing that it meant, against what came.";

/// The drawing of an outing's draw in words.
#[must_use]
pub fn draw_line(lasted: Seconds, mean: Option<Watts>, peak: Option<Watts>) -> String {
    format!("The draw over {}. {}.", span(lasted), took(None, mean, peak).trim_end_matches('.'))
}

/// A run-down: how much came out and how long it took.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RunDownSaid<'a> {
    /// The imported list's name, if it has one.
    pub name: Option<&'a str>,
    /// When it began.
    pub began: Option<Local>,
    /// Whether the bank cut out.
    pub whole: bool,
    /// How full it was.
    pub start: Option<Share>,
    /// The shortest duration that fits, and by how much it may be longer and shorter.
    pub lasted: [Seconds; 3],
    /// Energy delivered.
    pub delivered: Option<Joules>,
    /// Mean draw.
    pub mean: Option<Watts>,
    /// Whether the draw was measured.
    pub measured: bool,
    /// Temperature around it.
    pub ambient: Option<Celsius>,
}

/// A run-down's two lines: what came out, and under which conditions.
#[must_use]
pub fn rundown(it: &RunDownSaid<'_>) -> [String; 2] {
    let [shortest, longer, shorter] = it.lasted;
    let lasted = lasted(shortest, longer, shorter);
    let how = if it.whole { "Whole" } else { "Cut short" };
    let at_least = if it.whole { "" } else { "at least " };
    let gave = match it.delivered {
        Some(delivered) => format!("{how}: {at_least}{} in {lasted}", energy(delivered)),
        None => format!("{how}: {at_least}{lasted}, draw not known"),
    };
    let mut lines: Vec<String> = Vec::new();
    lines.extend(it.name.map(ToString::to_string));
    lines.extend(it.began.map(Local::date));
    lines.push(match it.start.map(Share::part) {
        Some(part) if part >= 0.995 => String::from("from full"),
        Some(part) => format!("from {:.0}{TIE}%", part * 100.0),
        None => String::from("start not known"),
    });
    let basis = if it.measured { "" } else { ", modelled" };
    lines.extend(it.mean.map(|mean| format!("{} on average{basis}", power(mean))));
    lines.extend(it.ambient.map(celsius));
    [gave, lines.join(" · ")]
}

/// The load that a run-down test makes by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TestLoadSaid {
    /// None.
    AsItIs,
    /// As little as can be.
    Idle,
    /// Bursts as of a receive-only timed mode.
    Receive,
    /// Steps from idle to all cores and back.
    Steps,
}

/// The load, as a choice.
#[must_use]
pub const fn test_load(load: TestLoadSaid) -> &'static str {
    match load {
        TestLoadSaid::AsItIs => "None: whatever the board does",
        TestLoadSaid::Idle => "Idle: as little as can be",
        TestLoadSaid::Receive => "Bursts, as receiving a timed digital mode",
        TestLoadSaid::Steps => "Steps, from idle to all cores and back",
    }
}

/// A run-down test that is on, given its bank and how long it has been so.
#[must_use]
pub fn test_on(bank: &str, since: &str, load: TestLoadSaid) -> String {
    let load = match load {
        TestLoadSaid::AsItIs => "",
        TestLoadSaid::Idle => " The board is kept idle.",
        TestLoadSaid::Receive => " The processor works as if receiving a timed mode.",
        TestLoadSaid::Steps => " The processor's load goes up and down in steps.",
    };
    format!("{bank} is being run down, {since} so far. The board will not switch itself off.{load}")
}

/// What a bank has been seen to deliver: the energies of its whole run-downs and the most of those
/// cut short, struck ones left out; and how many run-downs count in all.
#[must_use]
pub fn seen_to_deliver(whole: &[Joules], at_least: Option<Joules>, counted: usize) -> String {
    let ends = whole.iter().fold(None, |ends: Option<(f64, f64)>, it| {
        let (low, high) = ends.unwrap_or((it.wh(), it.wh()));
        Some((low.min(it.wh()), high.max(it.wh())))
    });
    match (ends, at_least) {
        (None, None) if counted > 0 => {
            String::from("How long it lasted is known, how much it delivered is not.")
        }
        (None, None) => String::from("Not run down yet: the forecast goes by its label."),
        (None, Some(most)) => {
            format!("It has delivered {} at least; it was never run down to its end.", energy(most))
        }
        (Some((low, high)), _) => {
            let counted = match whole.len() {
                1 => String::from("one run-down"),
                count => format!("{count} run-downs"),
            };
            let (low, high) = (energy(Joules::from_wh(low)), energy(Joules::from_wh(high)));
            if low == high {
                format!("It delivered {low} in {counted} to the end.")
            } else {
                format!("It delivered between {low} and {high} in {counted} to the end.")
            }
        }
    }
}

/// What is believed of a bank: `Believed to hold between 26 and 31 Wh`.
#[must_use]
pub fn believed_to_hold(usable: [Joules; 3]) -> String {
    format!("Believed to hold between {} and {} when full.", energy(usable[0]), energy(usable[2]))
}

/// The board's clock against the phone's: `0.42 s behind this phone's clock (± 0.03 s)`.
#[must_use]
pub fn clock_off(board_ahead: Seconds, within: Seconds) -> String {
    let (off, within) = (board_ahead.si(), within.si());
    let bound = seconds_said(within.max(0.001));
    if libm::fabs(off) <= within {
        return format!("The board's clock agrees with the phone's within {bound}.");
    }
    let way = if off > 0.0 { "ahead of" } else { "behind" };
    let size = libm::fabs(off);
    let size = if size < 60.0 { seconds_said(size) } else { far(size) };
    let modes = if libm::fabs(off) + within > 1.0 {
        " Timed digital modes need it within about a second."
    } else {
        ""
    };
    format!("The board's clock is {size} {way} the phone's (±{TIE}{bound}).{modes}")
}

fn seconds_said(seconds: f64) -> String {
    let digits = if seconds < 0.1 { 3 } else { 2 };
    format!("{seconds:.digits$}{TIE}s")
}

/// Clocks without a battery may be off by years.
fn far(seconds: f64) -> String {
    let days = seconds / 86_400.0;
    if days < 60.0 {
        span(Seconds::of(seconds))
    } else if days < 730.0 {
        format!("{days:.0}{TIE}days")
    } else {
        format!("about {:.0}{TIE}years", days / 365.2425)
    }
}

/// The size of the record: `The record uses 12.4 MiB.`
#[must_use]
pub fn record_size(bytes: u64) -> String {
    let kib = bytes / 1024;
    if kib < 10_240 {
        return format!("The record uses {kib}{TIE}KiB on the card.");
    }
    format!("The record uses {}{TIE}MiB on the card.", kib / 1024)
}

/// What was not kept, or not yet.
#[must_use]
pub fn record_owes(waiting: usize, missed: u64, stopped: bool) -> Vec<String> {
    let mut lines = Vec::new();
    if stopped && waiting > 0 {
        lines.push(format!("{waiting} entries wait in memory until the card can be written to."));
    }
    if missed > 0 {
        lines.push(format!("{missed} entries were lost because they could not be kept in time."));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    fn local(unix_s: i64) -> Local {
        Local { wall: Wall::from_unix_ms(unix_s * 1000), utc_offset_s: 3600 }
    }

    fn plain(text: &str) -> String {
        text.replace(TIE, " ")
    }

    #[test]
    fn the_end_of_a_dead_bank_is_an_interval() {
        // 2024-03-09T12:45:10Z by GNU date is 1709988310.
        let ended = Some(local(1_709_988_310));
        let within = Some(Seconds::of(10.0));
        let said = |end| plain(&ending(end, ended, within));
        assert_eq!(said(OutingEnd::Died), "The bank died between 13:45:10 and 13:45:20.");
        assert_eq!(
            said(OutingEnd::PowerLost(Share::nearest(0.9))),
            "The power went away between 13:45:10 and 13:45:20: the bank died, or its plug was pulled."
        );
        assert_eq!(
            plain(&ending(OutingEnd::SwitchedOff, ended, None)),
            "The board was switched off at 13:45:10."
        );
        assert_eq!(plain(&ending(OutingEnd::Died, None, within)), "The bank died.");
        let late = Some(local(1_709_988_310 + 36_880));
        assert_eq!(
            plain(&ending(OutingEnd::Died, late, Some(Seconds::of(60.0)))),
            "The bank died between 23:59:50 and 00:00:50 of the next day."
        );
        assert_eq!(plain(&local(1_709_988_310).day()), "Saturday 9 March 2024");
    }

    #[test]
    fn a_duration_is_as_fine_as_it_is_known() {
        let said = |a, b, c| plain(&lasted(Seconds::of(a), Seconds::of(b), Seconds::of(c)));
        assert_eq!(said(34_807.0, 10.0, 0.0), "9 h 40 min 12 s (± 5 s)");
        assert_eq!(said(34_800.0, 0.0, 0.0), "9 h 40 min 00 s");
        // 118 ten-minute marks span 19 h 30; the run lasted up to ten minutes more or less.
        assert_eq!(said(70_800.0, 600.0, 600.0), "19 h 40 (± 10 min)");
        assert_eq!(said(42.0, 10.0, 0.0), "47 s (± 5 s)");
    }

    #[test]
    fn clocks_that_are_off_are_said_with_their_bound() {
        let said = |off, within| plain(&clock_off(Seconds::of(off), Seconds::of(within)));
        assert_eq!(
            said(-0.42, 0.03),
            "The board's clock is 0.42 s behind the phone's (± 0.030 s)."
        );
        assert_eq!(said(0.02, 0.03), "The board's clock agrees with the phone's within 0.030 s.");
        assert!(said(1.4, 0.1).ends_with("within about a second."));
        assert!(said(-54.0 * 365.2425 * 86_400.0, 0.1).contains("about 54 years behind"));
    }

    #[test]
    fn what_a_bank_delivered() {
        let wh = Joules::from_wh;
        assert_eq!(
            plain(&seen_to_deliver(&[wh(27.0), wh(31.2)], None, 2)),
            "It delivered between 27.0 Wh and 31.2 Wh in 2 run-downs to the end."
        );
        assert!(seen_to_deliver(&[], Some(wh(12.0)), 1).contains("at least"));
        assert!(seen_to_deliver(&[], None, 0).contains("label"));
    }

    #[test]
    fn leap_days_and_the_ends_of_the_calendar() {
        // RFC 3339 appendix C: 2000 is a leap year, 2100 is not. Days by GNU date.
        assert_eq!(date_of(11_016), Some((2000, 2, 29)));
        assert_eq!(date_of(47_540), Some((2100, 2, 28)));
        assert_eq!(date_of(47_541), Some((2100, 3, 1)));
        assert_eq!(date_of(2_932_896), Some((9999, 12, 31)));
        assert_eq!(date_of(2_932_897), None);
        assert_eq!(date_of(i64::MAX), None);
        assert_eq!(date_of(i64::MIN), None);
    }
}
