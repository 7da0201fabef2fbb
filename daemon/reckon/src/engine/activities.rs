//! What the operator does, and what each kind of operating usually draws.

use alloc::{string::String, vec::Vec};

use crate::{
    draw::{Besides, BoardModel},
    units::{Seconds, Share, Watts},
};

/// First names, for an operator who has given none.
#[must_use]
pub fn first_names() -> Vec<String> {
    ["Receive", "Contacts", "Logging", "Idle"].map(String::from).to_vec()
}

/// A tagged stretch counts for learning once it has lasted this long.
const WORTH_S: f64 = 60.0;

/// With more of its time left out nothing is learned of an activity.
const MOST_LEFT_OUT: f64 = 0.05;

/// What is assumed of an activity before it has been seen (common practice, no source): how busy
/// the cores are and for what share of the time the key is down.
///
/// A decoder works in bursts; somebody who calls half of the time in a timed mode has the key down
/// for a fifth of it (79 symbols of 0.160 s in every second 15 s period, halved).
pub(crate) fn assumed_shares(name: &str) -> Option<(f64, f64)> {
    let known = [
        ("Receive", (0.30, 0.0)),
        ("Contacts", (0.35, 0.21)),
        ("Logging", (0.15, 0.0)),
        ("Idle", (0.03, 0.0)),
    ];
    known.into_iter().find(|(of, _)| of.eq_ignore_ascii_case(name)).map(|(_, share)| share)
}

/// The draw of one activity.
#[derive(Clone, Debug)]
struct ActivityDraw {
    name: String,
    known_s: f64,
    minutes: f64,
    mean_w: f64,
    scatter: f64,
    open_s: f64,
    open_j: f64,
    left_out_s: f64,
}

impl ActivityDraw {
    const fn new(name: String) -> Self {
        Self {
            name,
            known_s: 0.0,
            minutes: 0.0,
            mean_w: 0.0,
            scatter: 0.0,
            open_s: 0.0,
            open_j: 0.0,
            left_out_s: 0.0,
        }
    }

    /// Mean and variance over whole minutes, by Welford's running sums (Technometrics 4, 1962): a
    /// second is too short, since a transmission would count as scatter.
    fn add(&mut self, dt_s: f64, watts: f64) {
        self.known_s += dt_s;
        self.open_s += dt_s;
        self.open_j += watts * dt_s;
        if self.open_s < 60.0 {
            return;
        }
        let minute = self.open_j / self.open_s;
        (self.open_s, self.open_j) = (0.0, 0.0);
        self.minutes += 1.0;
        let off = minute - self.mean_w;
        self.mean_w += off / self.minutes;
        self.scatter += off * (minute - self.mean_w);
    }

    /// A second beyond the sensor's range: its minute is left out.
    fn leave_out(&mut self, dt_s: f64) {
        self.left_out_s += dt_s + self.open_s;
        self.known_s -= self.open_s;
        (self.open_s, self.open_j) = (0.0, 0.0);
    }

    fn learned(&self) -> Option<UsualDraw> {
        // What is left when its largest draws are taken out is not its usual draw.
        if self.left_out_s > MOST_LEFT_OUT * (self.known_s + self.left_out_s) {
            return None;
        }
        if self.known_s < WORTH_S || self.minutes < 1.0 || self.mean_w <= 0.0 {
            return None;
        }
        // With few minutes the scatter is not known yet: it counts as a fifth of the draw, fading.
        let seen = if self.minutes >= 2.0 { self.scatter / (self.minutes - 1.0) } else { 0.0 };
        let prior = (0.2 * self.mean_w) * (0.2 * self.mean_w);
        let variance = (seen * (self.minutes - 1.0) + prior * 3.0) / (self.minutes + 2.0);
        // The mean ahead differs from the mean behind by both their scatters.
        let of_mean = libm::sqrt(variance * 2.0 / self.minutes.min(30.0)) / self.mean_w;
        Some(UsualDraw {
            watts: Watts::of(self.mean_w),
            log_sd: libm::sqrt(of_mean * of_mean + 0.05 * 0.05),
        })
    }
}

/// The usual draw of an activity and how well it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UsualDraw {
    /// The draw.
    pub watts: Watts,
    /// Standard deviation of its logarithm for the time ahead.
    pub log_sd: f64,
}

impl UsualDraw {
    /// Two opinions in one, each with the weight of its precision.
    fn with(self, other: Self) -> Self {
        let [mine, others] = [self, other].map(|it| 1.0 / (it.log_sd * it.log_sd));
        let log = |it: Self| libm::log(it.watts.si());
        let mean = (log(self) * mine + log(other) * others) / (mine + others);
        Self { watts: Watts::of(libm::exp(mean)), log_sd: 1.0 / libm::sqrt(mine + others) }
    }
}

/// What an activity drew on one earlier outing.
#[derive(Clone, Debug, PartialEq)]
pub struct EarlierDraw {
    /// Its name.
    pub name: String,
    /// How long it was on.
    pub lasted: Seconds,
    /// Its mean draw.
    pub mean: Watts,
}

/// No outing counts for more than an hour of an activity: conditions differ from day to day.
const MOST_S: f64 = 3600.0;
/// How far an activity's mean draw differs from outing to outing until that has been seen (common
/// practice, no source).
const BETWEEN: f64 = 0.12;

/// The usual draw of each activity, by name.
pub type UsualDraws = Vec<(String, UsualDraw)>;

/// What earlier outings say of each activity. The spread between outings is theirs, with
/// [`BETWEEN`] counting as much as three of them.
#[must_use]
pub fn usual_draws(outings: &[Vec<EarlierDraw>]) -> UsualDraws {
    let mut all: Vec<(String, Vec<(f64, f64)>)> = Vec::new();
    let worth = |it: &&EarlierDraw| {
        it.lasted.si() >= WORTH_S && it.lasted.si().is_finite() && it.mean.si() > 0.0
    };
    for drew in outings.iter().flatten().filter(worth) {
        let seen = (drew.lasted.si().min(MOST_S), libm::log(drew.mean.si()));
        match all.iter_mut().find(|(name, _)| *name == drew.name) {
            Some((_, list)) => list.push(seen),
            None => all.push((drew.name.clone(), alloc::vec![seen])),
        }
    }
    all.into_iter().map(|(name, seen)| (name, between(&seen))).collect()
}

#[expect(clippy::cast_precision_loss, reason = "outings are few")]
fn between(seen: &[(f64, f64)]) -> UsualDraw {
    let n = seen.len() as f64;
    let weight: f64 = seen.iter().map(|(weight, _)| weight).sum();
    let mean = seen.iter().map(|(weight, log)| weight * log).sum::<f64>() / weight;
    let scatter =
        seen.iter().map(|(weight, log)| weight * (log - mean) * (log - mean)).sum::<f64>() / weight;
    let variance = (scatter * n + BETWEEN * BETWEEN * 3.0) / (n + 2.0);
    UsualDraw {
        watts: Watts::of(libm::exp(mean)),
        log_sd: libm::sqrt(variance * (1.0 + 1.0 / n) + 0.05 * 0.05),
    }
}

/// An activity's usual draw and what it would leave, as of some moment.
#[derive(Clone, Debug)]
pub(super) struct ActivityLeft {
    pub(super) name: String,
    pub(super) usual: Option<Watts>,
    pub(super) left: Option<[Seconds; 3]>,
}

/// All activities, and which one is tagged.
#[derive(Clone, Debug)]
pub(super) struct Activities {
    draws: Vec<ActivityDraw>,
    current: Option<usize>,
    measured_j: f64,
    modelled_j: f64,
    /// What earlier outings say.
    before: UsualDraws,
}

impl Activities {
    pub(super) fn new(names: &[String]) -> Self {
        let mut draws: Vec<ActivityDraw> = Vec::new();
        for name in names {
            if !draws.iter().any(|one| one.name == *name) {
                draws.push(ActivityDraw::new(name.clone()));
            }
        }
        Self { draws, current: None, measured_j: 0.0, modelled_j: 0.0, before: Vec::new() }
    }

    /// What earlier outings say of this bank.
    pub(super) fn note_before(&mut self, before: UsualDraws) {
        self.before = before;
    }

    /// Another outing begins, perhaps with the draw seen elsewhere: nothing was drawn in it yet.
    pub(super) fn new_outing(&mut self) {
        for draw in &mut self.draws {
            *draw = ActivityDraw::new(core::mem::take(&mut draw.name));
        }
        (self.measured_j, self.modelled_j) = (0.0, 0.0);
    }

    /// Tags from now on; `false` if there is no such activity.
    pub(super) fn tag(&mut self, name: Option<&str>) -> bool {
        let Some(name) = name else {
            self.current = None;
            return true;
        };
        let place = self.draws.iter().position(|one| one.name == name);
        if place.is_some() {
            self.current = place;
        }
        place.is_some()
    }

    pub(super) fn current(&self) -> Option<&str> {
        self.current.and_then(|place| self.draws.get(place)).map(|one| one.name.as_str())
    }

    /// A measured stretch, and what the model would have said of it.
    pub(super) fn add(&mut self, dt_s: f64, measured: Watts, modelled: Watts) {
        self.measured_j += measured.si() * dt_s;
        self.modelled_j += modelled.si() * dt_s;
        if let Some(draw) = self.current.and_then(|place| self.draws.get_mut(place)) {
            draw.add(dt_s, measured.si());
        }
    }

    /// A stretch beyond the sensor's range.
    pub(super) fn leave_out(&mut self, dt_s: f64) {
        if let Some(draw) = self.current.and_then(|place| self.draws.get_mut(place)) {
            draw.leave_out(dt_s);
        }
    }

    /// How far this station's measured draw is from the model's; 1 until there is enough to tell.
    fn station_factor(&self) -> f64 {
        // Half an hour of 3 W counts as much as the model.
        let worth = 5400.0;
        ((self.measured_j + worth) / (self.modelled_j + worth)).clamp(0.2, 5.0)
    }

    /// Names in order, each with its usual draw.
    pub(super) fn usual(
        &self,
        board: &BoardModel,
        besides: &Besides,
    ) -> Vec<(&str, Option<UsualDraw>)> {
        let factor = self.station_factor();
        let modelled = |name: &str| {
            let (busy, duty) = assumed_shares(name)?;
            let watts =
                board.at(Some(Share::nearest(busy))) + besides.at_duty(Share::nearest(duty));
            (watts.si() > 0.0).then(|| UsualDraw { watts: watts * factor, log_sd: board.log_sd })
        };
        self.draws
            .iter()
            .map(|one| {
                let before = self.before.iter().find(|(name, _)| *name == one.name);
                let seen = match (one.learned(), before.map(|(_, usual)| *usual)) {
                    (Some(now), Some(before)) => Some(now.with(before)),
                    (now, before) => now.or(before).or_else(|| modelled(&one.name)),
                };
                (one.name.as_str(), seen)
            })
            .collect()
    }

    /// Whether the name is the one that is tagged.
    pub(super) fn is_current(&self, name: &str) -> bool {
        self.current() == Some(name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn learns_the_mean_of_what_was_tagged() {
        let mut all = Activities::new(&first_names());
        assert!(!all.tag(Some("Fishing")), "no such activity");
        assert!(all.tag(Some("Contacts")));
        // 15 s periods, key down 12.64 s in every second one (QEX Jul/Aug 2020): 3 W receiving,
        // 13 W sending.
        for second in 0..3600_u32 {
            let phase = f64::from(second % 30);
            let on = (12.64 - phase).clamp(0.0, 1.0);
            all.add(1.0, Watts::of(3.0 + 10.0 * on), Watts::of(3.0));
        }
        let (board, besides) = (BoardModel::new(None, None), Besides::default());
        let usual = all.usual(&board, &besides);
        let (name, contacts) = usual[1];
        let contacts = contacts.unwrap();
        assert_eq!(name, "Contacts");
        let want = 3.0 + 10.0 * 12.64 / 30.0;
        assert!((contacts.watts.si() - want).abs() < 0.01, "{contacts:?}, want {want}");
        assert!(contacts.log_sd < 0.1);
        let receive = usual[0].1.unwrap();
        assert!(receive.log_sd > contacts.log_sd);
    }

    #[test]
    fn earlier_outings_speak_until_this_one_does() {
        let drew = |name: &str, hours: f64, watts: f64| EarlierDraw {
            name: name.into(),
            lasted: Seconds::of(hours * 3600.0),
            mean: Watts::of(watts),
        };
        let last = [
            alloc::vec![drew("Receive", 3.0, 4.0), drew("Contacts", 0.001, 30.0)],
            alloc::vec![drew("Receive", 1.0, 4.4)],
        ];
        let usual = usual_draws(&last);
        assert_eq!(usual.len(), 1, "a few seconds are no draw");
        let (name, receive) = &usual[0];
        // Both count for an hour: the mean of the logarithms, the root of 4.0 times 4.4.
        assert!(name == "Receive" && (receive.watts.si() - libm::sqrt(4.0 * 4.4)).abs() < 1e-9);
        assert!((0.1..0.2).contains(&receive.log_sd), "{receive:?}");

        let (board, besides) = (BoardModel::new(None, None), Besides::default());
        let mut all = Activities::new(&first_names());
        let modelled = all.usual(&board, &besides)[0].1.unwrap();
        all.note_before(usual.clone());
        let before = all.usual(&board, &besides)[0].1.unwrap();
        assert_eq!(before, *receive);
        assert!(before.watts != modelled.watts && before.log_sd < modelled.log_sd);
        // Two hours at 5 W today: today counts for more, and the two together are surer than each.
        assert!(all.tag(Some("Receive")));
        for _ in 0..7200 {
            all.add(1.0, Watts::of(5.0), Watts::of(3.0));
        }
        let now = all.usual(&board, &besides)[0].1.unwrap();
        assert!((4.75..5.0).contains(&now.watts.si()) && now.log_sd < before.log_sd, "{now:?}");
        all.new_outing();
        assert_eq!(all.usual(&board, &besides)[0].1.unwrap(), before);
    }
}
