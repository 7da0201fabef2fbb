//! Slot by slot: which ones were sent in, how long the key was down, and what each part took.

use alloc::vec::Vec;

use super::{
    beat::{Beat, Reads},
    bins::{Bin, binned, count, wrap},
    burst::{Burst, edges, mean, solid},
    modes::{MODES, Mode},
    parts::{Kind, Raw},
    rows::{best_cut, levelled, lowest_quarter, rows},
    slot_view::{
        LONGEST_BURST_S, Pulse, Sliced, View, at_phase, decode, is_flat, is_sharp, middling,
        stands_alone, tally,
    },
};

/// Whether a pulse may be a transmission of the mode: the key goes down before the first symbol
/// and up after the last, and a second is the grain of the readings. A pulse that takes less than
/// the station does anyway may as well be a burst of decoding, or one run together with a
/// transmission, and has to fit more closely; most closely where it is no longer than such bursts.
fn is_length(pulse: &Pulse, floor_w: f64, mode: &Mode) -> bool {
    let on_air_s = mode.on_air_s();
    let loose = (0.3 + 0.12 * on_air_s).min(1.1);
    let within = match (pulse.watts < 0.8 * floor_w, on_air_s <= LONGEST_BURST_S) {
        (true, true) => 0.4,
        (true, false) => 0.6,
        (false, _) => loose,
    };
    (pulse.to_s - pulse.from_s - on_air_s).abs() < within
}

/// The slot that explains the record best: one with transmissions of the right length, else the
/// period itself (or a part of it) with nothing but decoding in it.
pub(super) fn best(
    beats: &[Beat],
    period_s: f64,
    reads: Reads,
) -> Option<(Option<&'static Mode>, Sliced)> {
    // The period found is the slot, two slots (stations take turns), or a part of the slot (where
    // the slot's own wave happens to cancel).
    let fits = |mode: &&Mode| mode.slot_s * 2.0 == period_s || wrap(mode.slot_s, period_s) == 0.0;
    let floor_w = lowest_quarter(beats);
    let sent = |slice: fn(&[Beat], f64, &Mode, Reads) -> Option<Sliced>| {
        MODES
            .iter()
            .filter(fits)
            .filter_map(|mode| {
                let level = levelled(beats, mode.slot_s);
                Some((mode, slice(&level, floor_w, mode, reads)?))
            })
            .max_by(|a, b| parts_energy(&a.1).total_cmp(&parts_energy(&b.1)))
    };
    // Where nothing was decoded for a while, that says nothing of what follows received slots else.
    let sent = sent(transmissions).or_else(|| sent(some_slots_by_what_shows_beside));
    if let Some((mode, sliced)) = sent {
        return Some((Some(mode), sliced));
    }
    // Bursts in every other slot of half the length look like that one's; only the curve over both
    // tells.
    let level = levelled(beats, period_s);
    let halved = |mode: &Mode| mode.slot_s == 2.0 * period_s && period_s < 10.0;
    let twice = MODES.iter().any(halved) && !repeats(&level, 2.0 * period_s, period_s);
    let period_s = if twice { 2.0 * period_s } else { period_s };
    // Several bursts in a period are several slots.
    let mut best = listening(&level, period_s);
    for mode in MODES.iter().rev().filter(|mode| mode.slot_s < period_s) {
        if wrap(period_s, mode.slot_s) == 0.0 && repeats(&level, period_s, mode.slot_s) {
            let shorter = listening(&level, mode.slot_s);
            if parts_energy(&shorter) > 1.05 * parts_energy(&best) {
                best = shorter;
            }
        }
    }
    Some((None, best))
}

fn parts_energy(sliced: &Sliced) -> f64 {
    sliced.parts.iter().map(|part| part.energy_j).sum()
}

/// The parts of a record with transmissions of the mode's length.
fn transmissions(beats: &[Beat], floor_w: f64, mode: &Mode, reads: Reads) -> Option<Sliced> {
    let some = some_slots(beats, floor_w, mode, reads);
    let every = every_slot(beats, floor_w, mode, reads);
    // Where the key is down in every slot, those in which a little more is drawn pass for the sent
    // ones: the other word then explains far more.
    match (some, every) {
        (Some(some), Some(every)) if parts_energy(&every) > 3.0 * parts_energy(&some) => {
            Some(every)
        }
        (some, every) => some.or(every),
    }
}

fn some_slots(beats: &[Beat], floor_w: f64, mode: &Mode, reads: Reads) -> Option<Sliced> {
    let view = in_the_middle(beats, mode)?;
    by_burst(&view, view.quiet_burst(), floor_w, mode, reads)
}

fn some_slots_by_what_shows_beside(
    beats: &[Beat],
    floor_w: f64,
    mode: &Mode,
    reads: Reads,
) -> Option<Sliced> {
    by_burst(&in_the_middle(beats, mode)?, None, floor_w, mode, reads)
}

/// The slots with the transmissions in their middle.
fn in_the_middle<'a>(beats: &'a [Beat], mode: &Mode) -> Option<View<'a>> {
    let (slot_s, pause_s) = (mode.slot_s, mode.slot_s - mode.on_air_s());
    let first = View::cut(beats, slot_s, best_cut(beats, slot_s, pause_s), pause_s)?;
    // Decoding pulls the cut towards the transmissions: once more, with them in the middle. A pull
    // of more than a pause is no transmission's.
    let off_s = first.off_middle().filter(|off_s| off_s.abs() < pause_s).unwrap_or(0.0);
    View::cut(beats, slot_s, wrap(first.cut_s + off_s, slot_s), pause_s)
}

/// The parts by the burst that is known undisturbed, or else by what shows of it beside the
/// transmissions.
fn by_burst(
    view: &View<'_>,
    quiet: Option<(Burst, Vec<Bin>)>,
    floor_w: f64,
    mode: &Mode,
    reads: Reads,
) -> Option<Sliced> {
    let base = quiet.as_ref().map_or_else(|| view.quiet_level(), |(burst, _)| burst.level);
    let known = quiet.as_ref().map(|(burst, curve)| (burst, curve.as_slice()));
    let pulse = view.pulse(base, known, mode, reads)?;
    if !is_length(&pulse, floor_w, mode) || pulse.watts <= 0.0 {
        return None;
    }
    // The few slots in which the board had other work are none that were sent in.
    if pulse.watts < 0.8 * floor_w && view.sent_rows().count() < FEWEST_WEAK {
        return None;
    }
    let bridged = quiet.is_none();
    let (burst, curve) = match quiet {
        Some(found) => found,
        None => view.burst_beside(&pulse)?,
    };
    view.parts(&pulse, base, (&burst, &curve, bridged), mode, reads)
}

/// Fewer weak pulses than this may be anything.
const FEWEST_WEAK: usize = 8;

/// The key down in every slot: there is nothing to compare a slot with but its own pause.
fn every_slot(beats: &[Beat], floor_w: f64, mode: &Mode, reads: Reads) -> Option<Sliced> {
    let slot_s = mode.slot_s;
    let whole =
        solid(&binned(beats.iter().map(|b| (wrap(b.at_s, slot_s), b.watts)), 0.5, 0.0, slot_s));
    let lowest = whole.iter().min_by(|a, b| a.mean.total_cmp(&b.mean))?;
    let curve_at = |cut_s: f64| {
        let phases = beats.iter().map(|beat| (wrap(beat.at_s - cut_s, slot_s), beat.watts));
        solid(&binned(phases, 0.5, 0.0, slot_s))
    };
    let half = f64::midpoint(middling(whole.iter().map(|bin| bin.mean))?, lowest.mean);
    let (from_s, to_s) = edges(&curve_at(lowest.phase_s), half);
    // In the middle of the pause.
    let cut_s = wrap(lowest.phase_s + f64::midpoint(from_s, to_s - slot_s), slot_s);
    let curve = curve_at(cut_s);
    let high = middling(curve.iter().map(|bin| bin.mean))?;
    let noise = middling(curve.iter().map(|bin| libm::sqrt(bin.scatter / bin.n.max(2.0) / bin.n)))?;
    let (from_s, to_s) = edges(&curve, (high + lowest.mean) / 2.0);
    let pause = |bin: &&Bin| bin.phase_s < from_s - 0.6 || bin.phase_s > to_s + 0.6;
    let base = mean(curve.iter().filter(pause)).unwrap_or(lowest.mean);
    let flat = is_flat(&curve, from_s, to_s, base - 4.0 * noise, 0.9 * (high - base));
    let pulse = Pulse { from_s, to_s, watts: high - base };
    let fits = is_length(&pulse, floor_w, mode) && is_sharp(&curve, base, high - base, mode);
    if high - base < 10.0 * noise || !fits || !flat {
        return None;
    }
    let lasts_s = match reads {
        Reads::SecondMeans => to_s - from_s,
        Reads::Instants => mode.on_air_s(),
    };
    let slots = count(beats.len()) / slot_s;
    let energy_j = match reads {
        Reads::SecondMeans => beats.iter().map(|beat| beat.watts - base).sum(),
        Reads::Instants => slots * lasts_s * (high - base),
    };
    let sent = tally(rows(beats, slot_s, cut_s, 0.0).len());
    let begins_s = wrap(cut_s + from_s, slot_s);
    let part = Raw {
        kind: Kind::Transmit,
        energy_j,
        busy_s: slots * lasts_s,
        begins_s,
        lasts_s,
        bridged: false,
    };
    Some(Sliced { slot_s, sent, slots: sent, parts: alloc::vec![part] })
}

/// No transmission to be seen: the radio hangs on another bank, or is only listening.
fn listening(beats: &[Beat], slot_s: f64) -> Sliced {
    // Cut so that the burst stands in the middle between two cuts.
    let whole = binned(beats.iter().map(|b| (wrap(b.at_s, slot_s), b.watts)), 1.0, 0.0, slot_s);
    let top = whole.iter().max_by(|a, b| a.mean.total_cmp(&b.mean)).map_or(0.0, |bin| bin.phase_s);
    let cut_s = wrap(top, slot_s);
    let view = View { beats, rows: rows(beats, slot_s, cut_s, 0.0), slot_s, cut_s };
    let heard = count(beats.len()) / slot_s;
    let parts = view
        .quiet_burst()
        .filter(|(burst, curve)| stands_alone(burst, curve, slot_s))
        .and_then(|(burst, _)| decode(&burst, heard, cut_s, slot_s))
        .into_iter()
        .collect();
    Sliced { slot_s, sent: 0, slots: tally(view.rows.len()), parts }
}

/// Whether the draw over a period is that over a slot, several times: the slots' curves differ by
/// less than if all of it were in one of two.
fn repeats(beats: &[Beat], period_s: f64, slot_s: f64) -> bool {
    let nth = |beat: &Beat| libm::floor(wrap(beat.at_s, period_s) / slot_s);
    // Bins of a second: in step with the readings, half of those of half a second would be empty.
    let curve = |slot: Option<f64>| {
        let of = beats.iter().filter(move |beat| slot.is_none_or(|slot| nth(beat) == slot));
        binned(of.map(|beat| (wrap(beat.at_s, slot_s), beat.watts)), 1.0, 0.0, slot_s)
    };
    let all = curve(None);
    let level = mean(all.iter()).unwrap_or(0.0);
    let (mut apart, mut whole, mut slot) = (0.0, 0.0, 0.0);
    while slot * slot_s < period_s {
        for bin in curve(Some(slot)) {
            let off = bin.mean - at_phase(&all, bin.phase_s);
            apart += off * off;
            whole += (bin.mean - level) * (bin.mean - level);
        }
        slot += 1.0;
    }
    apart < 0.4 * whole
}
