//! A record cut into slots: what the sent ones, the quiet ones and the bursts between them show.

use alloc::vec::Vec;

use super::{
    beat::{Beat, Reads},
    bins::{Bin, binned, count, wrap},
    burst::{Burst, burst, edges, mean, noise, solid},
    modes::{MODES, Mode},
    parts::{Kind, Raw},
    rows::{SlotRow, mark_sent, points, rows},
};

/// What the slots of a record say.
pub(super) struct Sliced {
    pub(super) slot_s: f64,
    pub(super) sent: u32,
    pub(super) slots: u32,
    pub(super) parts: Vec<Raw>,
}

/// The pulse of the transmissions in their slots.
pub(super) struct Pulse {
    pub(super) from_s: f64,
    pub(super) to_s: f64,
    pub(super) watts: f64,
}

/// Received slots, each followed by a received one, that show the burst undisturbed.
const FEWEST_PAIRS: usize = 4;

/// Where a burst ends beneath a transmission, it lifts the draw by this part of what it takes at least,
const LEAST_RISE: f64 = 0.4;
/// and the burst takes this part at most: a higher one may be anything.
const HIGHEST_BURST: f64 = 0.8;

/// A record cut into marked slots.
pub(super) struct View<'a> {
    pub(super) beats: &'a [Beat],
    pub(super) rows: Vec<SlotRow>,
    pub(super) slot_s: f64,
    pub(super) cut_s: f64,
}

impl<'a> View<'a> {
    /// Cuts a record and marks the sent slots; `None` if none stand out.
    pub(super) fn cut(beats: &'a [Beat], slot_s: f64, cut_s: f64, pause_s: f64) -> Option<Self> {
        let mut rows = rows(beats, slot_s, cut_s, pause_s);
        let marked = mark_sent(&mut rows);
        marked.then_some(Self { beats, rows, slot_s, cut_s })
    }

    /// How far the middle of the sent slots' pulse is from the middle of the slot.
    pub(super) fn off_middle(&self) -> Option<f64> {
        let sent = self.rows.iter().filter(|row| row.sent).flat_map(|row| self.points(row));
        let curve = solid(&binned(sent, 0.5, 0.0, self.slot_s));
        let high = middling(curve.iter().map(|bin| bin.mean))?;
        let low = curve.iter().map(|bin| bin.mean).fold(high, f64::min);
        let (from_s, to_s) = edges(&curve, f64::midpoint(low, high));
        Some(f64::midpoint(from_s, to_s) - self.slot_s / 2.0)
    }

    fn points(&self, row: &SlotRow) -> impl Iterator<Item = (f64, f64)> {
        points(self.beats, row, self.slot_s, self.cut_s)
    }

    /// Rows with the one that follows directly.
    fn pairs(&self) -> impl Iterator<Item = (&SlotRow, &SlotRow)> {
        self.rows
            .windows(2)
            .filter_map(|pair| <&[SlotRow; 2]>::try_from(pair).ok())
            .filter(|[a, b]| b.index == a.index + 1.0)
            .map(|[a, b]| (a, b))
    }

    /// The curve from the middle of a slot to the middle of the next.
    fn across(&self, points: impl Iterator<Item = (f64, f64)>) -> Vec<Bin> {
        binned(points, 0.5, self.slot_s / 2.0, self.slot_s * 1.5)
    }

    /// The burst where nothing was sent in the slot and the next: undisturbed.
    pub(super) fn quiet_burst(&self) -> Option<(Burst, Vec<Bin>)> {
        let quiet = || self.pairs().filter(|(a, b)| !a.sent && !b.sent);
        if quiet().count() < FEWEST_PAIRS {
            return None;
        }
        let curve = self.across(quiet().flat_map(|(a, b)| {
            self.points(a).chain(self.points(b).map(|(phase, watts)| (phase + self.slot_s, watts)))
        }));
        let burst = burst(&curve, self.slot_s)?;
        Some((burst, solid(&curve)))
    }

    /// The level of receiving where every received slot stands between sent ones: its first part,
    /// before any decoding.
    pub(super) fn quiet_level(&self) -> f64 {
        let within = |phase: f64| phase > 0.15 * self.slot_s && phase < 0.7 * self.slot_s;
        let (sum, n) = self
            .rows
            .iter()
            .filter(|row| !row.sent)
            .flat_map(|row| self.points(row))
            .filter(|(phase, _)| within(*phase))
            .fold((0.0, 0.0), |(sum, n), (_, watts)| (sum + watts, n + 1.0));
        if n > 0.0 { sum / n } else { 0.0 }
    }

    /// Start, end and height of the transmissions, with the end of a decoding burst taken off the
    /// beginning where it is known.
    pub(super) fn pulse(
        &self,
        base: f64,
        quiet: Option<(&Burst, &[Bin])>,
        mode: &Mode,
        reads: Reads,
    ) -> Option<Pulse> {
        let sent: Vec<(&SlotRow, bool)> = self.sent_rows().collect();
        if sent.len() < 2 {
            return None;
        }
        let curve = solid(&binned(
            sent.iter().flat_map(|(row, after_quiet)| {
                self.points(row).map(|(phase, watts)| {
                    let tail = if *after_quiet { self.tail(phase, quiet) } else { 0.0 };
                    (phase, watts - base - tail)
                })
            }),
            0.5,
            0.0,
            self.slot_s,
        ));
        let middle = middling(curve.iter().map(|bin| bin.mean))?;
        let (_, to_s) = edges(&curve, middle / 2.0);
        // Flat in its second half at the latest: constant envelope, and decoding is over by then.
        let flat_from = to_s - mode.on_air_s() / 2.0;
        let flat = |bin: &&Bin| bin.phase_s > flat_from && bin.phase_s < to_s - 0.75;
        let watts = mean(curve.iter().filter(flat)).unwrap_or(middle);
        let (from_s, to_s) = edges(&curve, watts / 2.0);
        // A burst that is half as high passes for the beginning, where it runs into it: so first where
        // a transmission that ends here must have begun, if it is seen to begin there.
        let highest_w = curve.iter().map(|bin| bin.mean).fold(watts, f64::max);
        let begins = |before_w: f64, after_w: f64| {
            (before_w - base).abs() < HIGHEST_BURST * watts
                && highest_w < (1.0 + HIGHEST_BURST) * watts
                && after_w - before_w > LEAST_RISE * watts
        };
        let begun = || self.rise(to_s - mode.on_air_s(), reads, begins);
        let begun_s = if quiet.is_some() { Some(from_s) } else { begun() };
        let flat_s = begun_s.unwrap_or(from_s);
        let sharp = is_sharp(&curve, 0.0, watts, mode);
        if !sharp || !is_flat(&curve, flat_s, to_s, 0.0, 0.75 * watts) {
            return None;
        }
        let from_s = begun_s.or_else(|| self.rise(from_s, reads, |_, _| true)).unwrap_or(from_s);
        Some(Pulse { from_s, to_s, watts })
    }

    /// The sent slots, each with whether a received one stands right before it.
    pub(super) fn sent_rows(&self) -> impl Iterator<Item = (&SlotRow, bool)> {
        let mut before: Option<&SlotRow> = None;
        self.rows.iter().filter_map(move |row| {
            let after_quiet =
                before.is_some_and(|other| !other.sent && other.index == row.index - 1.0);
            before = Some(row);
            row.sent.then_some((row, after_quiet))
        })
    }

    /// What the burst of the slot before still takes at a phase.
    fn tail(&self, phase_s: f64, quiet: Option<(&Burst, &[Bin])>) -> f64 {
        let across = phase_s + self.slot_s;
        match quiet {
            Some((burst, curve)) if burst.area > 0.0 && across < burst.to_s + 1.5 => {
                at_phase(curve, across) - burst.level
            }
            _ => 0.0,
        }
    }

    /// The rise of the transmissions on the back of a burst, near there, if the draw just before and
    /// just after will do.
    fn rise(&self, about_s: f64, reads: Reads, will_do: impl Fn(f64, f64) -> bool) -> Option<f64> {
        let curve = solid(&self.across(self.pairs().filter(|(a, b)| !a.sent && b.sent).flat_map(
            |(a, b)| {
                let next = self.points(b).map(|(phase, watts)| (phase + self.slot_s, watts));
                self.points(a).chain(next)
            },
        )));
        let first_s = half_way(&curve, about_s + self.slot_s, reads, &will_do)?;
        Some(half_way(&curve, first_s, reads, will_do).unwrap_or(first_s) - self.slot_s)
    }

    /// The burst where each received slot is followed by a sent one: its end shows on top of the
    /// transmission, and the second around the edge between is bridged by a straight line.
    pub(super) fn burst_beside(&self, pulse: &Pulse) -> Option<(Burst, Vec<Bin>)> {
        let mut curve =
            self.across(self.pairs().filter(|(a, b)| !a.sent && b.sent).flat_map(|(a, b)| {
                let slot_s = self.slot_s;
                let beside = self.points(b).map(move |(phase, watts)| {
                    let on = if phase > pulse.from_s { pulse.watts } else { 0.0 };
                    (phase + slot_s, watts - on)
                });
                self.points(a).chain(beside)
            }));
        let edge = pulse.from_s + self.slot_s;
        let clean: Vec<Bin> =
            curve.iter().filter(|bin| (bin.phase_s - edge).abs() > 0.62).copied().collect();
        for bin in curve.iter_mut().filter(|bin| (bin.phase_s - edge).abs() <= 0.62) {
            bin.mean = at_phase(&solid(&clean), bin.phase_s);
        }
        let burst = burst(&curve, self.slot_s)?;
        Some((burst, solid(&curve)))
    }

    /// How large the bursts before a sent slot, and all bursts, are against the undisturbed ones:
    /// compared where both can be seen, away from the rise. Few undisturbed ones are a small
    /// sample of bursts that differ (the ratio estimator of survey sampling: Cochran, 'Sampling
    /// Techniques', chapter 6).
    fn against_quiet(&self, burst: &Burst, pulse: &Pulse) -> (f64, f64) {
        let edge = self.slot_s + pulse.from_s;
        let seen =
            |at: f64| at > burst.from_s - 1.5 && at < burst.to_s + 2.5 && (at - edge).abs() > 0.8;
        // Sum over the pairs, and how many there are.
        let bursts = |next_sent: bool| -> (f64, f64) {
            self.pairs().filter(|(a, b)| !a.sent && b.sent == next_sent).fold(
                (0.0, 0.0),
                |(sum, n), (a, b)| {
                    let on = |at: f64| if next_sent && at > edge { pulse.watts } else { 0.0 };
                    let next = self.points(b).map(|(phase, watts)| (phase + self.slot_s, watts));
                    let own = self.points(a).filter(|(at, _)| *at >= self.slot_s / 2.0);
                    let over: f64 = own
                        .chain(next)
                        .filter(|(at, _)| seen(*at))
                        .map(|(at, watts)| watts - burst.level - on(at))
                        .sum();
                    (sum + over, n + 1.0)
                },
            )
        };
        let ((quiet, n), (beside, m)) = (bursts(false), bursts(true));
        let enough = n >= count(FEWEST_PAIRS) && m >= count(FEWEST_PAIRS);
        if burst.area <= 0.0 || !enough || quiet / n < 0.3 * burst.area {
            return (1.0, 1.0);
        }
        let ratio = |sum: f64, of: f64| (sum / of / (quiet / n)).clamp(0.6, 1.6);
        (ratio(beside, m), ratio(quiet + beside, n + m))
    }

    pub(super) fn parts(
        &self,
        pulse: &Pulse,
        base: f64,
        (burst, curve, bridged): (&Burst, &[Bin], bool),
        mode: &Mode,
        reads: Reads,
    ) -> Option<Sliced> {
        let sent = || self.rows.iter().filter(|row| row.sent);
        let sent_s = sent().map(|row| count(row.beats.len())).sum::<f64>();
        let slots_sent = sent_s / self.slot_s;
        let slots_heard = (count(self.beats.len()) - sent_s) / self.slot_s;
        let (beside, all) = self.against_quiet(burst, pulse);
        let tail = |phase: f64, after_quiet: bool| {
            if after_quiet { beside * self.tail(phase, Some((burst, curve))) } else { 0.0 }
        };
        let in_sent: f64 = self
            .sent_rows()
            .flat_map(|(row, after)| self.points(row).map(move |point| (point, after)))
            .map(|((phase, watts), after)| watts - base - tail(phase, after))
            .sum();
        let lasts_s = match reads {
            Reads::SecondMeans => pulse.to_s - pulse.from_s,
            Reads::Instants => mode.on_air_s(),
        };
        let of_pulse = slots_sent * lasts_s * pulse.watts;
        // The slots hold what the pulse is worth, or it was none.
        if !(0.7..1.4).contains(&(in_sent / of_pulse)) {
            return None;
        }
        let energy_j = match reads {
            Reads::SecondMeans => in_sent,
            Reads::Instants => of_pulse,
        };
        let mut parts = alloc::vec![Raw {
            kind: Kind::Transmit,
            energy_j,
            busy_s: slots_sent * lasts_s,
            begins_s: wrap(self.cut_s + pulse.from_s, self.slot_s),
            lasts_s,
            bridged: false,
        }];
        parts.extend(decode(burst, slots_heard * all, self.cut_s, self.slot_s).map(|raw| Raw {
            bridged,
            busy_s: raw.busy_s / all,
            ..raw
        }));
        Some(Sliced {
            slot_s: self.slot_s,
            sent: tally(sent().count()),
            slots: tally(self.rows.len()),
            parts,
        })
    }
}

/// Where a curve is half way between just before a place and just after, if these will do.
fn half_way(
    curve: &[Bin],
    about_s: f64,
    reads: Reads,
    will_do: impl Fn(f64, f64) -> bool,
) -> Option<f64> {
    let near = |from: f64, to: f64| {
        let within = move |bin: &&Bin| bin.phase_s > about_s + from && bin.phase_s < about_s + to;
        mean(curve.iter().filter(within))
    };
    let (before, after) = (near(-1.6, -0.6)?, near(0.6, 1.6)?);
    if !will_do(before, after) {
        return None;
    }
    if reads == Reads::Instants {
        let beside = |bin: &&Bin| (bin.phase_s - about_s).abs() < 1.6;
        let beside: Vec<Bin> = curve.iter().filter(beside).copied().collect();
        return Some(edges(&beside, f64::midpoint(before, after)).0);
    }
    // A mean over a second that the rise falls into says by its height where in it.
    let risen = |bin: &Bin| (bin.mean - before) / (after - before);
    let (sum, n) = curve
        .iter()
        .filter(|bin| (bin.phase_s - about_s).abs() < 1.0 && risen(bin) > 0.1 && risen(bin) < 0.9)
        .fold((0.0, 0.0), |(sum, n), bin| {
            (sum + bin.n * (bin.phase_s + 0.5 - risen(bin)), n + bin.n)
        });
    Some(if n > 0.0 { sum / n } else { about_s })
}

/// Whether a burst is all that there is: elsewhere the slot is flat. Where it is not, something
/// else goes on that cannot be told, and nothing is said rather than something wrong.
pub(super) fn stands_alone(burst: &Burst, curve: &[Bin], slot_s: f64) -> bool {
    let elsewhere = |bin: &&Bin| bin.phase_s < burst.from_s - 1.5 || bin.phase_s > burst.to_s + 1.5;
    let off = |bin: &Bin| (bin.mean - burst.level) * (bin.mean - burst.level);
    let (sum, n) =
        curve.iter().filter(elsewhere).fold((0.0, 0.0), |(s, n), b| (s + off(b), n + 1.0));
    let peak = curve.iter().map(|bin| bin.mean).fold(burst.level, f64::max) - burst.level;
    burst.to_s - burst.from_s < f64::max(LONGEST_BURST_S, 0.3 * slot_s)
        && libm::sqrt(sum / f64::max(n, 1.0)) < 0.1 * peak + 1.5 * noise(curve)
}

/// Transmissions all end at the same time; bursts of decoding end when they are done. Asked only
/// where a burst of the slot twice as long can be taken for a transmission of this one.
pub(super) fn is_sharp(curve: &[Bin], base: f64, watts: f64, mode: &Mode) -> bool {
    let twice = MODES.iter().any(|other| other.slot_s == 2.0 * mode.slot_s);
    if !twice || mode.on_air_s() > LONGEST_BURST_S {
        return true;
    }
    let (_, high) = edges(curve, base + 0.8 * watts);
    let (_, low) = edges(curve, base + 0.2 * watts);
    let over = curve.last().is_some_and(|bin| bin.mean - base < 0.2 * watts);
    over && low - high < 1.6
}

/// Decoding hardly takes longer than this (common practice, no source).
pub(super) const LONGEST_BURST_S: f64 = 8.0;

/// A transmission has no dip in it: two short ones in a row are not one long one.
pub(super) fn is_flat(curve: &[Bin], from_s: f64, to_s: f64, base: f64, least: f64) -> bool {
    curve
        .iter()
        .filter(|bin| bin.phase_s > from_s + 0.8 && bin.phase_s < to_s - 0.8)
        .all(|bin| bin.mean - base > least)
}

pub(super) fn decode(burst: &Burst, slots: f64, cut_s: f64, slot_s: f64) -> Option<Raw> {
    let lasts_s = burst.to_s - burst.from_s;
    (burst.area > 0.0 && lasts_s > 0.0).then(|| Raw {
        kind: Kind::Decode,
        energy_j: burst.area * slots,
        busy_s: lasts_s * slots,
        begins_s: wrap(cut_s + burst.from_s, slot_s),
        lasts_s,
        bridged: false,
    })
}

/// The curve at a phase, by straight lines.
pub(super) fn at_phase(curve: &[Bin], phase_s: f64) -> f64 {
    let after = curve.partition_point(|bin| bin.phase_s < phase_s);
    match (after.checked_sub(1).and_then(|at| curve.get(at)), curve.get(after)) {
        (Some(a), Some(b)) => {
            let part = (phase_s - a.phase_s) / (b.phase_s - a.phase_s).max(1e-9);
            a.mean + (b.mean - a.mean) * part
        }
        (Some(one), None) | (None, Some(one)) => one.mean,
        (None, None) => 0.0,
    }
}

pub(super) fn middling(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

pub(super) fn tally(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}
