//! What the processor's load takes, learned within single minutes of the measured draw.
//!
//! From minute to minute other things change with the load: a receiver is plugged in, a radio
//! listens. So only what goes together inside a minute counts, in stretches of five seconds. A radio
//! on the same sensor would still spoil it, since a board decodes while nothing is sent: minutes in
//! which the draw moved by more than the board can move it, or by what a transmission takes, are
//! left out.

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

#[derive(Clone, Debug)]
struct Minute {
    /// Seconds, busy seconds, joules.
    stretch: [f64; 3],
    done: Vec<(f64, f64)>,
    low_w: f64,
    high_w: f64,
}

impl Default for Minute {
    fn default() -> Self {
        let (low_w, high_w) = (f64::INFINITY, f64::NEG_INFINITY);
        Self { stretch: [0.0; 3], done: Vec::new(), low_w, high_w }
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
        open.low_w = open.low_w.min(watts);
        open.high_w = open.high_w.max(watts);
        let [span_s, busy_s, energy_j] = open.stretch;
        if span_s >= STRETCH_S {
            open.done.push((busy_s / span_s, energy_j / span_s));
            open.stretch = [0.0; 3];
        }
        if open.done.len() >= STRETCHES {
            let minute = core::mem::take(open);
            if minute.high_w - minute.low_w <= self.most_w(board) {
                self.within.add(&minute.done);
            }
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

    /// Watts from idle to all cores busy, once a load that changed has told them, and nothing else
    /// has moved the draw more.
    pub(super) fn line(&self) -> Option<RegressionLine> {
        let line = self.within.line()?;
        (self.within.groups() >= FEWEST && line.is_by_load()).then_some(line)
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
    fn a_transmitter_that_is_not_known_yet_leaves_nothing_to_tell() {
        // Every other slot of 15 s from the start on (12.64 s, QEX Jul/Aug 2020), decoding in the others:
        // the draw moves less than a 4B may, and nobody has folded it yet.
        let board = BoardModel::new(Some(crate::draw::BoardKind::FourB), None);
        for sent_w in [0.5, 1.0, 2.0, 4.0] {
            let mut watch = LoadWatch::default();
            for second in 0..1200_u32 {
                let sends = second / 15 % 2 == 0;
                let busy = if !sends && second % 15 >= 13 { 0.65 } else { 0.05 };
                let radio_w = if sends && second % 15 < 13 { sent_w } else { 0.0 };
                let watts = Watts::of(2.7 + 3.4 * busy + radio_w);
                watch.observe(Seconds::of(1.0), Share::nearest(busy), watts, &board);
            }
            assert_eq!(watch.line(), None, "{sent_w} W: {:?}", watch.within.line());
        }
    }

    #[test]
    fn what_changes_with_the_load_from_minute_to_minute_is_not_the_loads() {
        // Where the cores are busier a receiver hangs on a socket as well.
        let line = learned(|second| 0.3 * f64::from(second / 60 % 7), 0.0, false).unwrap();
        assert!((line.slope / 3.06 - 1.0).abs() < 0.03, "{line:?}");
    }
}
