//! What the processor's load takes, learned within single minutes of the measured draw.
//!
//! From minute to minute other things change with the load: a receiver is plugged in, a radio
//! listens. So only what goes together inside a minute counts, in stretches of five seconds. A radio
//! on the same sensor would still spoil it, since a board decodes while nothing is sent: minutes in
//! which the draw moved by more than the board can move it are left out, and once it is known what a
//! transmission takes, the stretches with one.

use alloc::vec::Vec;

use super::meter::GAP_S;
use crate::{
    draw::BoardModel,
    energy_tally::{PART_SENT, RegressionLine, WithinMinuteFit},
    units::{Seconds, Share, Watts},
};

/// Minutes that are needed before anything is said.
const FEWEST: f64 = 10.0;
/// Stretches, seconds: long enough that a sensor's lag behind the processor's accounts is little.
const STRETCH_S: f64 = 5.0;
const STRETCHES: usize = 12;
/// Fewer undisturbed stretches of a minute are left out.
const FEWEST_STRETCHES: usize = 4;
/// The draw of a board moves by this much more than from idle to full load: spread between boards,
/// what hangs on its sockets.
const MARGIN: f64 = 1.5;
const MARGIN_W: f64 = 0.5;

/// The fit, and the minute that is being filled.
#[derive(Clone, Debug, Default)]
pub(super) struct LoadWatch {
    within: WithinMinuteFit,
    open: Minute,
    /// What a transmission takes, once one was found in the draw.
    sent_w: Option<f64>,
}

#[derive(Clone, Debug, Default)]
struct Minute {
    /// Seconds, busy seconds, joules; the lowest and the highest look.
    stretch: [f64; 3],
    looks_w: Option<(f64, f64)>,
    done: Vec<Stretch>,
}

/// How busy, at how many watts, and the lowest and the highest look.
type Stretch = ((f64, f64), (f64, f64));

impl Minute {
    /// What the load alone moved, at most by so much: all of the minute or nothing, or where it is
    /// known what a transmission takes, the stretches without any.
    fn undisturbed(&self, most_w: f64, sent_known: bool) -> Vec<(f64, f64)> {
        let low_w = self.done.iter().map(|it| it.1.0).fold(f64::INFINITY, f64::min);
        let quiet = |it: &&Stretch| it.1.1 - low_w <= most_w;
        let quiet: Vec<(f64, f64)> = self.done.iter().filter(quiet).map(|it| it.0).collect();
        let least = if sent_known { FEWEST_STRETCHES } else { self.done.len() };
        if quiet.len() >= least { quiet } else { Vec::new() }
    }
}

impl LoadWatch {
    /// A measured stretch with the cores this busy.
    pub(super) fn observe(&mut self, span: Seconds, busy: Share, draw: Watts, board: &BoardModel) {
        let (dt, watts) = (span.si(), draw.si());
        if dt <= 0.0 || dt > GAP_S {
            self.open = Minute::default();
            return;
        }
        let open = &mut self.open;
        for (sum, more) in open.stretch.iter_mut().zip([dt, busy.part() * dt, watts * dt]) {
            *sum += more;
        }
        let (low_w, high_w) = open.looks_w.unwrap_or((watts, watts));
        let looks_w = (low_w.min(watts), high_w.max(watts));
        open.looks_w = Some(looks_w);
        let [span_s, busy_s, energy_j] = open.stretch;
        if span_s >= STRETCH_S {
            open.done.push(((busy_s / span_s, energy_j / span_s), looks_w));
            (open.stretch, open.looks_w) = ([0.0; 3], None);
        }
        if open.done.len() >= STRETCHES {
            let minute = core::mem::take(open);
            let undisturbed = minute.undisturbed(self.most_w(board), self.sent_w.is_some());
            self.within.add(&undisturbed);
        }
    }

    /// The draw was beyond what the sensor can measure: the minute is left out.
    pub(super) fn leave_out(&mut self) {
        self.open = Minute::default();
    }

    /// Transmissions of so many watts were found in the draw: what was learned before without
    /// knowing of them goes.
    pub(super) fn sends(&mut self, sent: Watts) {
        if self.sent_w.is_none_or(|known| sent.si() < 0.8 * known) {
            *self = Self { sent_w: Some(sent.si()), ..Self::default() };
        }
    }

    fn most_w(&self, board: &BoardModel) -> f64 {
        let most_w = MARGIN * (board.full - board.idle).si() + MARGIN_W;
        self.sent_w.map_or(most_w, |sent_w| most_w.min(PART_SENT * sent_w))
    }

    /// Watts from idle to all cores busy, once a load that changed has told them.
    pub(super) fn line(&self) -> Option<RegressionLine> {
        let line = self.within.line()?;
        (self.within.groups() >= FEWEST && line.is_possible_draw()).then_some(line)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A 4B: 3.06 W idle, 6.12 W under stress (Raspberry Pi documentation at 5.1 V), with what is
    /// besides it, decoding at the end of the received slots of 15 s; a contact in every fifth
    /// minute, 12.64 s of carrier (QEX Jul/Aug 2020).
    fn learned(besides_w: impl Fn(u32) -> f64, send_w: f64, told: bool) -> Option<RegressionLine> {
        let board = BoardModel::new(Some(crate::draw::BoardKind::FourB), None);
        let mut watch = LoadWatch::default();
        for second in 0..7200_u32 {
            if told && second == 1200 {
                watch.sends(Watts::of(send_w));
            }
            let sent = second / 60 % 5 == 4 && second / 15 % 2 == 0;
            let decodes = second % 15 >= 13 && !sent;
            let busy = if decodes { 0.9 } else { 0.1 + 0.05 * f64::from(second / 60 % 7) };
            let radio_w = if sent && second % 15 < 13 { send_w } else { 0.0 };
            let watts = 3.06 + 3.06 * busy + radio_w + besides_w(second);
            watch.observe(Seconds::of(1.0), Share::nearest(busy), Watts::of(watts), &board);
        }
        watch.line()
    }

    #[test]
    fn the_radio_on_the_same_sensor_does_not_make_load_look_cheap() {
        for (send_w, told) in [(12.0, false), (4.5, true)] {
            let line = learned(|_| 1.2, send_w, told).unwrap();
            assert!((line.slope / 3.06 - 1.0).abs() < 0.03, "{send_w} W: {line:?}");
            assert!((line.intercept / (3.06 + 1.2) - 1.0).abs() < 0.03, "{send_w} W: {line:?}");
        }
    }

    #[test]
    fn slots_sent_without_a_pause_leave_enough_to_tell() {
        // Every other slot for two hours (12.64 s of 15 s, QEX Jul/Aug 2020), decoding in the others:
        // no minute is without a transmission.
        let board = BoardModel::new(Some(crate::draw::BoardKind::FourB), None);
        let mut watch = LoadWatch::default();
        for second in 0..7200_u32 {
            if second == 1200 {
                watch.sends(Watts::of(4.0));
            }
            let sends = second / 15 % 2 == 0;
            let busy = if !sends && second % 15 >= 13 { 0.65 } else { 0.05 };
            let radio_w = if sends && second % 15 < 13 { 4.0 } else { 0.0 };
            let watts = 2.7 + 3.4 * busy + radio_w + 0.012 * f64::from(second % 7) / 7.0;
            watch.observe(Seconds::of(1.0), Share::nearest(busy), Watts::of(watts), &board);
        }
        let line = watch.line().unwrap();
        assert!((line.slope / 3.4 - 1.0).abs() < 0.03, "{line:?}");
        assert!((line.intercept / 2.7 - 1.0).abs() < 0.03, "{line:?}");
    }

    #[test]
    fn what_changes_with_the_load_from_minute_to_minute_is_not_the_loads() {
        // Where the cores are busier a receiver hangs on a socket as well.
        let line = learned(|second| 0.3 * f64::from(second / 60 % 7), 0.0, false).unwrap();
        assert!((line.slope / 3.06 - 1.0).abs() < 0.03, "{line:?}");
    }
}
