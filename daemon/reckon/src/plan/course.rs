//! The draw along the outing from the side of one supply: watt-hours taken by any moment, and how well they
//! are known.

use alloc::vec::Vec;

use libm::{hypot, sqrt};

use super::spec::{Doing, Feeds, Plan, Stretch};
use crate::{
    engine::assumed_shares,
    estimator::{Doings, PartShares, PartWatts},
};

/// What a halted board goes on drawing while it is connected, W (vendors' tables: 0.12 to 0.5 W), and its
/// deviation as a share.
const HALTED: (f64, f64) = (0.3, 0.5);
/// How far what is really done lies from what was planned, as shares of the energy of processor and
/// transmitter: nobody sends exactly as often as planned (fit).
const BUSY_DIFFERS: f64 = 0.25;
const SENT_DIFFERS: f64 = 0.16;
/// How far an outing's draw at rest lies from that of the bank's others, as a share (fit).
const BASE_DIFFERS: f64 = 0.10;
/// Somebody is at the board where something is sent, nobody where it idles, and else for this share of the time
/// (fit).
const SOMETIMES: f64 = 0.3;
const IDLE_BUSY: f64 = 0.03;

/// A stretch as one supply sees it.
#[derive(Clone, Debug)]
struct Leg {
    hours: f64,
    shares: PartShares,
    /// Beside the parts, W, and the deviation of that.
    besides_w: f64,
    besides_sd_w: f64,
    mean_w: f64,
}

/// Watt-hours taken since the start: mean and relative deviation.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(super) struct Taken {
    pub(super) wh: f64,
    pub(super) log_sd: f64,
}

/// The draw along the outing.
#[derive(Clone, Debug)]
pub(super) struct Course {
    legs: Vec<Leg>,
    watts: PartWatts,
}

/// Shares of the parts in a stretch, as one supply sees it.
pub(super) fn shares(stretch: &Stretch, feeds: Feeds) -> PartShares {
    let mut shares = PartShares::default();
    let Doing::Shares { busy, sent } = stretch.doing else { return shares };
    if feeds != Feeds::Radio && stretch.board_on {
        shares.on = 1.0;
        shares.busy = busy;
        shares.present = match () {
            () if !stretch.display_on => 0.0,
            () if sent > 0.0 => 1.0,
            () if busy <= IDLE_BUSY => 0.0,
            () => SOMETIMES,
        };
    }
    if feeds != Feeds::Board && stretch.radio_on {
        shares.receiving = 1.0;
        shares.sending = sent;
    }
    shares
}

/// What is done over the whole plan.
pub(super) fn doings(plan: &Plan, feeds: Feeds) -> Doings {
    let mut sum = Doings::default();
    for stretch in &plan.stretches {
        match &stretch.doing {
            Doing::Shares { .. } => sum.shares.add(&shares(stretch, feeds), stretch.hours),
            Doing::Activity(name, usual) => {
                let (busy, sent) = assumed_shares(name).unwrap_or(SOME_ACTIVITY);
                let doing = Doing::Shares { busy, sent };
                let supposed = Stretch { doing, ..stretch.clone() };
                sum.supposed.add(&shares(&supposed, feeds), stretch.hours);
                sum.known_wh += usual.watts.si() * stretch.hours;
            }
        }
        let drawn = stretch.board_on || (stretch.radio_on && feeds != Feeds::Board);
        sum.hours += if drawn { stretch.hours } else { 0.0 };
    }
    sum
}

/// An activity that nothing is known of but what it draws: share of the cores, share of the time sent.
const SOME_ACTIVITY: (f64, f64) = (0.2, 0.1);

impl Course {
    pub(super) fn new(plan: &Plan, feeds: Feeds, watts: &PartWatts) -> Self {
        let legs = plan.stretches.iter().map(|stretch| leg(stretch, feeds, watts)).collect();
        Self { legs, watts: watts.clone() }
    }

    /// Mean draw at an hour, W. After its last stretch the outing goes on as in that.
    pub(super) fn watts_at(&self, hour: f64) -> f64 {
        let mut end = 0.0;
        let at = self.legs.iter().find(|leg| {
            end += leg.hours;
            hour < end
        });
        at.or(self.legs.last()).map_or(0.0, |leg| leg.mean_w)
    }

    /// Each stretch's mean draw, W, and how well it is known by itself.
    pub(super) fn each(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.legs.iter().map(|leg| {
            let alone = Self { legs: alloc::vec![leg.clone()], watts: self.watts.clone() };
            let taken = alone.taken(1.0);
            (taken.wh, taken.log_sd)
        })
    }

    /// Hours at which the draw changes.
    pub(super) fn changes_at(&self) -> impl Iterator<Item = f64> + '_ {
        self.legs.iter().scan(0.0, |end, leg| {
            *end += leg.hours;
            Some(*end)
        })
    }

    /// Watt-hours taken within the first `hours`.
    pub(super) fn taken(&self, hours: f64) -> Taken {
        let mut sum = PartShares::default();
        let (mut besides_wh, mut besides_sd_wh) = (0.0, 0.0);
        let mut left = hours;
        for (k, leg) in self.legs.iter().enumerate() {
            let is_last = k + 1 == self.legs.len();
            let span = if is_last { left } else { left.min(leg.hours) };
            sum.add(&leg.shares, span);
            besides_wh += leg.besides_w * span;
            besides_sd_wh += leg.besides_sd_w * span;
            left -= span;
            if left <= 0.0 {
                break;
            }
        }
        let wh = self.watts.mean_w(&sum) + besides_wh;
        let part = |shares: PartShares| self.watts.mean_w(&shares);
        let busy = BUSY_DIFFERS * part(PartShares { busy: sum.busy, ..PartShares::default() });
        let sent =
            SENT_DIFFERS * part(PartShares { sending: sum.sending, ..PartShares::default() });
        let base = BASE_DIFFERS * part(PartShares { busy: 0.0, sending: 0.0, ..sum });
        let var = self.watts.var_w2(&sum) + busy * busy + sent * sent + base * base;
        let sd = hypot(sqrt(var), besides_sd_wh);
        Taken { wh, log_sd: sd / wh.max(1e-9) }
    }
}

fn leg(stretch: &Stretch, feeds: Feeds, watts: &PartWatts) -> Leg {
    let shares = shares(stretch, feeds);
    let board = feeds != Feeds::Radio;
    let (mut besides_w, mut sd_w) = (0.0, 0.0);
    if board {
        besides_w += stretch.extra_w / watts.through;
        if !stretch.board_on && stretch.connected {
            besides_w += HALTED.0 / watts.through;
            sd_w = HALTED.1 * HALTED.0 / watts.through;
        }
        if let (Doing::Activity(_, usual), true) = (&stretch.doing, stretch.board_on) {
            besides_w += usual.watts.si();
            sd_w = hypot(sd_w, usual.log_sd * usual.watts.si());
        }
    }
    let mean_w = watts.mean_w(&shares) + besides_w;
    Leg { hours: stretch.hours, shares, besides_w, besides_sd_w: sd_w, mean_w }
}
