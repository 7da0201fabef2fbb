//! The energy that a chip counts by itself, made into one that never jumps: the chip's count runs
//! over at its top, starts anew after a reset, and adds up the size of the power whatever its
//! direction.

use reckon::{
    reading::{Gap, Got},
    time::Mono,
    units::{Joules, Watts},
};

use super::Counter;

/// The count since we began.
#[derive(Clone, Debug)]
pub(crate) struct EnergyCount {
    counter: Counter,
    ohms: f64,
    total_j: f64,
    last: Option<Last>,
}

/// The look before.
#[derive(Clone, Copy, Debug)]
struct Last {
    count: i64,
    at: Mono,
    /// Power in the chip's own direction.
    watts: Option<f64>,
}

impl EnergyCount {
    /// Nothing counted yet.
    pub(crate) const fn new(counter: Counter, ohms: f64) -> Self {
        Self { counter, ohms, total_j: 0.0, last: None }
    }

    /// The chip's count is of no use until the next look: somebody else changed the settings.
    pub(crate) const fn forget(&mut self) {
        self.last = None;
    }

    /// The chip has just been switched on: its count began at nothing, with settings whose step is
    /// the same as ours, so what it counted since then is real.
    pub(crate) const fn began(&mut self, at: Mono) {
        self.last = Some(Last { count: 0, at, watts: None });
    }

    /// Takes the next count; `watts` is the power of the same look, in the chip's own direction.
    #[expect(clippy::cast_precision_loss, reason = "40 bits fit a float exactly")]
    pub(crate) fn add(&mut self, raw: u64, watts: Got<Watts>, at: Mono) -> Got<Joules> {
        let count = self.counter.field.count(raw);
        let watts = watts.ok().map(Watts::si);
        let last = self.last.replace(Last { count, at, watts });
        let Some(last) = last else { return self.so_far() };
        let span_s = at.seconds_since(last.at).si();
        // One result may be counted late, hence the two seconds.
        let most_j = self.counter.most_watts_at_one_ohm / self.ohms * (span_s + 2.0);
        let step_j = self.counter.field.step / self.ohms;
        let top = 1_i64 << self.counter.field.bits;
        // Run over the top, or begun anew: either way what has been added must be possible.
        let over = (count - last.count).rem_euclid(top) as f64 * step_j;
        let anew = count as f64 * step_j;
        let Some(added_j) = [over, anew].into_iter().find(|added| *added <= most_j) else {
            return Err(Gap::Implausible);
        };
        self.total_j += match direction(last.watts, watts) {
            Some(sign) => sign * added_j,
            // It turned round in between: the size alone does not say how much went each way.
            None => (last.watts.unwrap_or(0.0) + watts.unwrap_or(0.0)) / 2.0 * span_s,
        };
        self.so_far()
    }

    fn so_far(&self) -> Got<Joules> {
        Joules::new(self.total_j).ok_or(Gap::Implausible)
    }
}

/// +1 or -1 where both looks agree on the direction; unknown looks agree with everything.
fn direction(before: Option<f64>, now: Option<f64>) -> Option<f64> {
    let (before, now) = (before.or(now).unwrap_or(0.0), now.or(before).unwrap_or(0.0));
    if before >= 0.0 && now >= 0.0 {
        Some(1.0)
    } else if before <= 0.0 && now <= 0.0 {
        Some(-1.0)
    } else {
        None
    }
}
