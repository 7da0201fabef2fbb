//! What goes with what: the draw against the processor's load, and before against after a mark.

use alloc::vec::Vec;

use crate::units::{Joules, Seconds, Share, Watts};

/// Least squares of one number on another, one pair at a time.
///
/// Running means and sums of squares about them (Welford, Technometrics 4, 1962; Chan, Golub,
/// LeVeque, American Statistician 37, 1983 for merging): nothing large is ever subtracted from
/// something large.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Regression {
    n: f64,
    mean_x: f64,
    mean_y: f64,
    xx: f64,
    xy: f64,
    yy: f64,
}

/// A fitted straight line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RegressionLine {
    /// Value at zero.
    pub intercept: f64,
    /// Rise per unit.
    pub slope: f64,
    /// Standard error of the rise.
    pub slope_se: f64,
    /// Standard error of the value at zero.
    pub intercept_se: f64,
    /// Share of the scatter that the line explains.
    pub explained: Share,
    /// Pairs.
    pub pairs: f64,
}

/// Something else than the load moved the draw where the load explains less of it: a transmitter that
/// nobody knows of yet explains most of it (common practice, no source).
const LEAST_EXPLAINED: f64 = 0.6;
/// No board and no processor of a portable station draws so much, W.
const TOO_MANY_W: f64 = 100.0;

impl RegressionLine {
    /// Whether this can be a board's draw by its load: an idle board draws something, and one at work
    /// more, both known to better than half of themselves (two standard errors). What cannot be is
    /// never shown.
    #[must_use]
    pub fn is_possible_draw(&self) -> bool {
        let known = |watts: f64, error_w: f64| {
            error_w.is_finite() && watts > 2.0 * error_w && watts > 0.0 && watts < TOO_MANY_W
        };
        known(self.slope, self.slope_se) && known(self.intercept, self.intercept_se)
    }

    /// Whether it is the load that moved the draw, too.
    #[must_use]
    pub fn is_by_load(&self) -> bool {
        self.is_possible_draw() && self.explained.part() >= LEAST_EXPLAINED
    }
}

impl Regression {
    /// Adds a pair; numbers that are not finite are left out.
    pub fn add(&mut self, x: f64, y: f64) {
        if !(x.is_finite() && y.is_finite()) {
            return;
        }
        self.n += 1.0;
        let (dx, dy) = (x - self.mean_x, y - self.mean_y);
        self.mean_x += dx / self.n;
        self.mean_y += dy / self.n;
        self.xx += dx * (x - self.mean_x);
        self.xy += dx * (y - self.mean_y);
        self.yy += dy * (y - self.mean_y);
    }

    /// Adds all pairs of another.
    pub fn merge(&mut self, other: &Self) {
        let n = self.n + other.n;
        if other.n <= 0.0 {
            return;
        }
        let (dx, dy) = (other.mean_x - self.mean_x, other.mean_y - self.mean_y);
        let share = self.n * other.n / n;
        self.xx += other.xx + dx * dx * share;
        self.xy += other.xy + dx * dy * share;
        self.yy += other.yy + dy * dy * share;
        self.mean_x += dx * other.n / n;
        self.mean_y += dy * other.n / n;
        self.n = n;
    }

    /// The line; `None` with fewer than three pairs or without any spread in `x`.
    ///
    /// The errors hold if the scatter about the line is independent from pair to pair. Readings a
    /// second apart are not quite: fitted over means of a minute they are nearly.
    #[must_use]
    pub fn line(&self) -> Option<RegressionLine> {
        let spread = self.xx > 1e-12 * self.n * (self.mean_x * self.mean_x).max(1e-12);
        if self.n < 3.0 || !spread {
            return None;
        }
        let slope = self.xy / self.xx;
        let left = (self.yy - slope * self.xy).max(0.0);
        let variance = left / (self.n - 2.0);
        Some(RegressionLine {
            intercept: self.mean_y - slope * self.mean_x,
            slope,
            slope_se: libm::sqrt(variance / self.xx),
            intercept_se: libm::sqrt(
                variance * (1.0 / self.n + self.mean_x * self.mean_x / self.xx),
            ),
            explained: Share::nearest(if self.yy > 0.0 { 1.0 - left / self.yy } else { 0.0 }),
            pairs: self.n,
        })
    }

    /// Means of both.
    #[must_use]
    pub const fn means(&self) -> (f64, f64) {
        (self.mean_x, self.mean_y)
    }
}

/// A transmission moves the draw by this part of what it takes at least, even in a bad second.
pub(crate) const PART_SENT: f64 = 0.6;

/// Draw against load within short groups of stretches: from group to group other things change with
/// the load (a receiver is plugged in, a radio listens), so only what goes together inside one counts.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct WithinMinuteFit {
    /// Off the means of their groups.
    regression: Regression,
    groups: f64,
    busy: f64,
    watts: f64,
}

impl WithinMinuteFit {
    /// Adds a group: pairs of load and watts, each of a stretch of one length.
    pub fn add(&mut self, group: &[(f64, f64)]) {
        let n = group.iter().fold(0.0, |n, _| n + 1.0);
        if n < 2.0 {
            return;
        }
        let busy = group.iter().map(|one| one.0).sum::<f64>() / n;
        let watts = group.iter().map(|one| one.1).sum::<f64>() / n;
        for one in group {
            self.regression.add(one.0 - busy, one.1 - watts);
        }
        self.groups += 1.0;
        self.busy += (busy - self.busy) / self.groups;
        self.watts += (watts - self.watts) / self.groups;
    }

    /// Groups so far.
    #[must_use]
    pub const fn groups(&self) -> f64 {
        self.groups
    }

    /// Watts from idle to all cores busy, through the mean of all.
    #[must_use]
    pub fn line(&self) -> Option<RegressionLine> {
        let line = self.regression.line()?;
        Some(RegressionLine {
            intercept: self.watts - line.slope * self.busy,
            intercept_se: libm::hypot(line.intercept_se, line.slope_se * self.busy),
            pairs: self.groups,
            ..line
        })
    }
}

/// Fits draw against load over rows of a record: six of them are a group, of ten seconds each a
/// minute.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LoadFit {
    within: WithinMinuteFit,
    busy_s: f64,
    open: Vec<(f64, f64)>,
    /// The lowest and the highest look in the open group.
    looks: Option<(f64, f64)>,
}

/// Rows in a group.
const GROUP: usize = 6;

impl LoadFit {
    /// Adds a row that the line is fitted to.
    pub fn add(&mut self, lasted: Seconds, busy: Share, draw: Watts) {
        self.add_below(lasted, busy, [draw; 3], None);
    }

    /// The same with the row's lowest look, mean and highest look: a group in which the draw moved by
    /// so much was moved by something else, and its draw tells nothing.
    pub fn add_below(
        &mut self,
        lasted: Seconds,
        busy: Share,
        [low, mean, high]: [Watts; 3],
        moved: Option<Watts>,
    ) {
        self.pass(lasted, busy);
        if lasted.si() <= 0.0 {
            return;
        }
        self.open.push((busy.part(), mean.si()));
        let (least, most) = self.looks.unwrap_or((low.si(), high.si()));
        let looks = (least.min(low.si()), most.max(high.si()));
        self.looks = Some(looks);
        if self.open.len() >= GROUP {
            if moved.is_none_or(|moved| looks.1 - looks.0 < moved.si()) {
                self.within.add(&self.open);
            }
            self.open.clear();
            self.looks = None;
        }
    }

    /// Adds a row in which something else moved the draw: its load counts, its draw tells nothing.
    pub fn pass(&mut self, lasted: Seconds, busy: Share) {
        self.busy_s += lasted.si().max(0.0) * busy.part();
    }

    /// Watts from idle to all cores busy.
    #[must_use]
    pub fn line(&self) -> Option<RegressionLine> {
        self.within.line()
    }

    /// What the load took so far, above an idle board, with the standard error; `None` until the
    /// line is steeper than twice its error (a load that never changed tells nothing).
    #[must_use]
    pub fn energy_of_load(&self) -> Option<(Joules, Joules)> {
        self.energy_by(&self.line().filter(|line| line.slope > 2.0 * line.slope_se)?)
    }

    /// The same by a line that was fitted to something better.
    #[must_use]
    pub fn energy_by(&self, line: &RegressionLine) -> Option<(Joules, Joules)> {
        Some((Joules::new(line.slope * self.busy_s)?, Joules::new(line.slope_se * self.busy_s)?))
    }
}

/// What the daemon itself takes: its share of one core's time, over all cores, along the line.
///
/// `None` without a usable line. The error is that of the slope alone.
#[must_use]
pub fn footprint(line: &RegressionLine, own_core_share: f64, cores: u32) -> Option<(Watts, Watts)> {
    if cores == 0 || own_core_share < 0.0 || !line.is_possible_draw() {
        return None;
    }
    let of_all = own_core_share / f64::from(cores);
    Some((Watts::new(line.slope * of_all)?, Watts::new(line.slope_se * of_all)?))
}

/// Before against after a mark ('fan on'): the difference of the mean draws.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BeforeAfter {
    before: Half,
    after: Half,
}

/// Means of ten seconds, and how they follow one another.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Half {
    n: f64,
    mean: f64,
    scatter: f64,
    lagged: f64,
    last_off: f64,
    open: f64,
    open_n: f64,
}

impl Half {
    fn add(&mut self, watts: f64) {
        self.open += watts;
        self.open_n += 1.0;
        if self.open_n < 10.0 {
            return;
        }
        let block = self.open / self.open_n;
        (self.open, self.open_n) = (0.0, 0.0);
        self.n += 1.0;
        let off = block - self.mean;
        self.mean += off / self.n;
        let rest = block - self.mean;
        self.scatter += off * rest;
        if self.n > 1.0 {
            self.lagged += self.last_off * rest;
        }
        self.last_off = rest;
    }

    /// Variance of the mean. Blocks that follow one another are alike: `(1 + r) / (1 - r)` times
    /// fewer of them count (Bartlett, J. Royal Stat. Soc. Suppl. 8, 1946, for a first-order
    /// chain), never more than there are.
    fn of_mean(&self) -> Option<f64> {
        if self.n < 3.0 {
            return None;
        }
        let alike =
            if self.scatter > 0.0 { (self.lagged / self.scatter).clamp(0.0, 0.9) } else { 0.0 };
        Some(self.scatter / (self.n - 1.0) / self.n * (1.0 + alike) / (1.0 - alike))
    }
}

impl BeforeAfter {
    /// A reading of one second before the mark.
    pub fn before(&mut self, draw: Watts) {
        self.before.add(draw.si());
    }

    /// A reading of one second after it. Leave out the first few, while the accessory starts.
    pub fn after(&mut self, draw: Watts) {
        self.after.add(draw.si());
    }

    /// Difference and its standard error; `None` until half a minute lies on both sides.
    #[must_use]
    pub fn difference(&self) -> Option<(Watts, Watts)> {
        let variance = self.before.of_mean()? + self.after.of_mean()?;
        Some((Watts::new(self.after.mean - self.before.mean)?, Watts::new(libm::sqrt(variance))?))
    }

    /// The chance that nothing was switched and the difference is luck (two-sided, by the normal
    /// law).
    #[must_use]
    pub fn luck(&self) -> Option<Share> {
        let (difference, error) = self.difference()?;
        if error.si() <= 0.0 {
            return Some(if difference.si() == 0.0 { Share::WHOLE } else { Share::NONE });
        }
        let z = difference.si().abs() / error.si();
        Some(Share::nearest(libm::erfc(z / core::f64::consts::SQRT_2)))
    }
}
