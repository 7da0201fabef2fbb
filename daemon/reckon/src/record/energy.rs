//! The energy of an outing, all of it, and what it is made of: what its rows read, and what was
//! taken while nobody read. The parts add up to the whole, which every list and report names.

use alloc::vec::Vec;

use super::{Channel, Row};

/// A stretch of a boot that an outing is made of, on the outing's own axis, s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SwitchedOn {
    /// Since the outing began.
    pub from_s: f64,
    /// Till then.
    pub to_s: f64,
    /// Whether it begins with the boot: the power was switched on then.
    pub boots: bool,
}

/// Why a stretch of an outing was not read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unread {
    /// The board was starting: outlast did not run yet.
    Starting,
    /// The board was on, and outlast did not run.
    NotRunning,
    /// outlast ran, and no sensor answered.
    NoReading,
    /// What was read last did not reach the card before the power went.
    NotKept,
}

impl Unread {
    /// All of them, in the order in which a report names them.
    pub const ALL: [Self; 4] = [Self::Starting, Self::NotRunning, Self::NoReading, Self::NotKept];

    /// As JSON has it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Starting => "starting",
            Self::NotRunning => "not_running",
            Self::NoReading => "no_reading",
            Self::NotKept => "not_kept",
        }
    }
}

/// Time and energy of a part.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct EnergyPart {
    /// Seconds.
    pub lasted_s: f64,
    /// Watt-hours.
    pub energy_wh: f64,
}

impl EnergyPart {
    fn add(&mut self, lasted_s: f64, watts: f64) {
        self.lasted_s += lasted_s;
        self.energy_wh += watts * lasted_s / 3600.0;
    }
}

/// The energy of an outing and its parts.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct OutingEnergy {
    /// Time switched on, s, all its boots together.
    pub lasted_s: f64,
    /// What rows have a draw for, measured or modelled.
    pub read: EnergyPart,
    /// What they have none for, by [`Unread::ALL`]: at the mean draw of the ten minutes beside it
    /// that were read. All time, and no energy, where nothing was read at all.
    pub unread: [EnergyPart; Unread::ALL.len()],
    /// Of what was read, counted while a sensor was at the end of its range, Wh.
    pub over_range_wh: f64,
    /// The highest single look, W.
    pub peak_w: Option<f64>,
}

/// So much on either side of what was not read says what was drawn in it, s.
const BESIDE_S: f64 = 600.0;

/// A row is shorter, s, and so is what is cut off where an outing begins in the middle of one.
const LONGEST_CUT_S: f64 = 10.0;

/// A stretch with a draw, or without.
#[derive(Clone, Copy, Debug)]
struct Piece {
    from_s: f64,
    to_s: f64,
    drew: Result<f64, Unread>,
}

impl OutingEnergy {
    /// Of an outing that was switched on then, from its rows in order of time. What of a row sticks
    /// out of the outing does not count.
    #[must_use]
    pub fn of_rows(on: &[SwitchedOn], rows: &[Row]) -> Self {
        let mut energy = Self::default();
        let mut pieces = Vec::new();
        for stretch in on {
            energy.lasted_s += (stretch.to_s - stretch.from_s).max(0.0);
            lay(stretch, rows, &mut pieces);
        }
        energy.over_range_wh = on.iter().map(|stretch| over_range_wh(stretch, rows)).sum();
        let drawn = rows.iter().filter(|row| is_in(on, row)).filter_map(Row::draw_w);
        energy.peak_w = drawn.map(|draw| draw.max).reduce(f64::max);
        for (ix, piece) in pieces.iter().enumerate() {
            let lasted_s = piece.to_s - piece.from_s;
            match piece.drew {
                Ok(watts) => energy.read.add(lasted_s, watts),
                Err(why) => {
                    let watts = beside(&pieces, ix, why).unwrap_or(0.0);
                    energy.unread[why as usize].add(lasted_s, watts);
                }
            }
        }
        energy
    }

    /// All of it, Wh; `None` where no row has a draw.
    #[must_use]
    pub fn whole_wh(&self) -> Option<f64> {
        (self.read.lasted_s > 0.0).then(|| self.read.energy_wh + self.bridged_wh())
    }

    /// Of that, taken while nobody read, Wh.
    #[must_use]
    pub fn bridged_wh(&self) -> f64 {
        self.unread.iter().map(|part| part.energy_wh).sum()
    }

    /// Mean draw over the time switched on, W.
    #[must_use]
    pub fn mean_w(&self) -> Option<f64> {
        self.whole_wh().filter(|_| self.lasted_s > 0.0).map(|wh| wh * 3600.0 / self.lasted_s)
    }

    /// What was not read, with its reason, where there is any.
    pub fn unread(&self) -> impl Iterator<Item = (Unread, EnergyPart)> {
        Unread::ALL.into_iter().zip(self.unread).filter(|(_, part)| part.lasted_s > 0.0)
    }
}

/// What rows counted at the end of a sensor's range in a stretch, Wh.
fn over_range_wh(on: &SwitchedOn, rows: &[Row]) -> f64 {
    let part = |row: &Row| {
        let within_s = (row.to_s().min(on.to_s) - row.from_s.max(on.from_s)).max(0.0);
        row.get(Channel::OverRange).map_or(0.0, |it| it.mean * within_s)
    };
    rows.iter().map(part).sum::<f64>() / 3600.0
}

/// Whether some of a row lies in these stretches.
fn is_in(on: &[SwitchedOn], row: &Row) -> bool {
    on.iter().any(|one| row.to_s().min(one.to_s) > row.from_s.max(one.from_s))
}

/// Lays a stretch out in rows and what lies between them, without hole or overlap.
fn lay(on: &SwitchedOn, rows: &[Row], pieces: &mut Vec<Piece>) {
    let first = rows.partition_point(|row| row.to_s() <= on.from_s);
    let (mut at_s, mut any) = (on.from_s, false);
    let mut put = |from_s: f64, to_s: f64, drew| {
        if to_s > from_s + 1e-6 {
            pieces.push(Piece { from_s, to_s, drew });
        }
    };
    for row in rows.get(first..).unwrap_or_default() {
        if row.from_s >= on.to_s {
            break;
        }
        let hole = match any {
            false if on.boots => Unread::Starting,
            // Another bank came in the middle of a row, and that row stayed with the one before.
            false if row.from_s - at_s < LONGEST_CUT_S => Unread::NotKept,
            _ => Unread::NotRunning,
        };
        put(at_s, row.from_s.min(on.to_s), Err(hole));
        let (from_s, to_s) = (row.from_s.max(at_s), row.to_s().min(on.to_s));
        put(from_s, to_s, row.draw_w().map(|draw| draw.mean).ok_or(Unread::NoReading));
        (at_s, any) = (at_s.max(to_s), true);
    }
    put(at_s, on.to_s, Err(Unread::NotKept));
}

/// Mean draw of what was read beside a piece: on both sides, but after a start what came then, and
/// before the end what had been. Else of all that was read.
fn beside(pieces: &[Piece], ix: usize, why: Unread) -> Option<f64> {
    let (before, after) = pieces.split_at(ix);
    let (this, after) = after.split_first()?;
    let late = before.iter().rev().take_while(|one| one.to_s > this.from_s - BESIDE_S);
    let early = after.iter().take_while(|one| one.from_s < this.to_s + BESIDE_S);
    let (late, early) = (sums(late), sums(early));
    let asked = match why {
        Unread::Starting => [early, late],
        // The row in which the outing began was of the bank before as well and tells nothing.
        Unread::NotKept => [late, late],
        Unread::NotRunning if late.0 <= 0.0 => [late, late],
        Unread::NotRunning | Unread::NoReading => [(late.0 + early.0, late.1 + early.1), late],
    };
    let all = asked.into_iter().find(|sum| sum.0 > 0.0).unwrap_or_else(|| sums(pieces.iter()));
    (all.0 > 0.0).then(|| all.1 / all.0)
}

/// Seconds and joules of what was read.
fn sums<'a>(pieces: impl Iterator<Item = &'a Piece>) -> (f64, f64) {
    let read = pieces.filter_map(|one| Some((one.to_s - one.from_s, one.drew.ok()?)));
    read.fold((0.0, 0.0), |(s, j), (lasted_s, watts)| (s + lasted_s, j + watts * lasted_s))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Stats;

    fn row(from_s: f64, watts: Option<f64>) -> Row {
        let mut stats = [None; Channel::ALL.len()];
        stats[Channel::Watts.ix()] = watts.map(Stats::one);
        stats[Channel::Busy.ix()] = Some(Stats::one(0.2));
        Row { from_s, span_s: 10.0, stats }
    }

    fn rows(from: u32, to: u32, watts: impl Fn(f64) -> Option<f64>) -> Vec<Row> {
        (from / 10..to / 10).map(|k| 10.0 * f64::from(k)).map(|at| row(at, watts(at))).collect()
    }

    fn near(part: EnergyPart, lasted_s: f64, joules: f64) {
        assert!((part.lasted_s - lasted_s).abs() < 1e-6, "{part:?}, {lasted_s} s");
        assert!((part.energy_wh - joules / 3600.0).abs() < 1e-9, "{part:?}, {joules} J");
    }

    /// A board at 3 W that is on for two hours of two boots: it starts for half a minute each
    /// time, outlast is away for 100 s, the sensor for 200 s, and the last 40 s are not kept.
    #[test]
    fn every_second_is_in_one_part_and_the_parts_are_the_whole() {
        let on = [
            SwitchedOn { from_s: 0.0, to_s: 3600.0, boots: true },
            SwitchedOn { from_s: 5000.0, to_s: 6000.0, boots: false },
            SwitchedOn { from_s: 9000.0, to_s: 11_600.0, boots: true },
        ];
        let there = |at_s: f64| (!(2000.0..2200.0).contains(&at_s)).then_some(3.0);
        let mut all = rows(30, 3600, there);
        all.extend(rows(5100, 6000, there));
        all.extend(rows(9030, 11_560, there));
        let energy = OutingEnergy::of_rows(&on, &all);
        near(energy.unread[Unread::Starting as usize], 60.0, 180.0);
        near(energy.unread[Unread::NotRunning as usize], 100.0, 300.0);
        near(energy.unread[Unread::NoReading as usize], 200.0, 600.0);
        near(energy.unread[Unread::NotKept as usize], 40.0, 120.0);
        near(energy.read, 6800.0, 20_400.0);
        // 7200 s at 3 W are 6 Wh (SI brochure: 1 Wh = 3600 J).
        assert_eq!(energy.lasted_s, 7200.0);
        assert!((energy.whole_wh().unwrap() - 6.0).abs() < 1e-9, "{energy:?}");
        assert!((energy.mean_w().unwrap() - 3.0).abs() < 1e-9 && energy.peak_w == Some(3.0));
    }

    #[test]
    fn what_was_not_read_goes_by_what_lies_beside_it() {
        // Three hours at 2 W, then three at 8 W; the sensor is away for ten minutes in the middle of
        // each: 2 W and 8 W, not the 5 W of the outing.
        let on = [SwitchedOn { from_s: 0.0, to_s: 21_600.0, boots: false }];
        let watts = |at_s: f64| if at_s < 10_800.0 { 2.0 } else { 8.0 };
        for (away_s, joules) in [(5000.0, 1200.0), (15_000.0, 4800.0), (10_500.0, 3000.0)] {
            let away = away_s..away_s + 600.0;
            let all = rows(0, 21_600, |at_s| (!away.contains(&at_s)).then(|| watts(at_s)));
            let energy = OutingEnergy::of_rows(&on, &all);
            near(energy.unread[Unread::NoReading as usize], 600.0, joules);
        }
    }

    #[test]
    fn a_row_that_sticks_out_counts_as_far_as_it_lies_in_the_outing() {
        let on = [SwitchedOn { from_s: 4.0, to_s: 36.0, boots: false }];
        let energy = OutingEnergy::of_rows(&on, &rows(0, 40, |_| Some(3.0)));
        near(energy.read, 32.0, 96.0);
        assert_eq!(energy.bridged_wh(), 0.0);
        // A row of five minutes over it all is no more than the outing.
        let long = Row { span_s: 300.0, ..row(0.0, Some(3.0)) };
        near(OutingEnergy::of_rows(&on, &[long]).read, 32.0, 96.0);
    }

    #[test]
    fn what_is_cut_off_by_a_change_of_bank_is_no_time_without_outlast() {
        let on = [SwitchedOn { from_s: 4.0, to_s: 40.0, boots: false }];
        let energy = OutingEnergy::of_rows(&on, &rows(10, 40, |_| Some(3.0)));
        near(energy.unread[Unread::NotKept as usize], 6.0, 18.0);
        near(energy.unread[Unread::NotRunning as usize], 0.0, 0.0);
    }

    #[test]
    fn nothing_read_is_no_energy() {
        let on = [SwitchedOn { from_s: 0.0, to_s: 60.0, boots: true }];
        for all in [Vec::new(), rows(20, 60, |_| None)] {
            let energy = OutingEnergy::of_rows(&on, &all);
            assert_eq!((energy.whole_wh(), energy.lasted_s), (None, 60.0));
            assert_eq!(energy.unread.iter().map(|part| part.lasted_s).sum::<f64>(), 60.0);
        }
    }
}
