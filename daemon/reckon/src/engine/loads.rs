//! What the processor's load takes, learned from whole minutes of the measured draw.
//!
//! A radio on the same sensor would spoil it: a board decodes while nothing is sent, so busy
//! minutes would look cheap. Minutes in which the draw moved by more than the board alone can move
//! it are left out.

use crate::{
    book::{LoadFit, Slope},
    draw::BoardModel,
    units::{Seconds, Share, Watts},
};

/// So many minutes are wanted before anything is said.
const FEWEST: f64 = 10.0;
/// The draw of a board moves by this much more than from idle to full load: spread between boards,
/// what hangs on its sockets.
const MARGIN: f64 = 1.5;
const MARGIN_W: f64 = 0.5;

/// The fit, and the minute that is being filled.
#[derive(Clone, Debug, Default)]
pub(super) struct LoadWatch {
    fit: LoadFit,
    open: Minute,
}

#[derive(Clone, Copy, Debug)]
struct Minute {
    span_s: f64,
    busy_s: f64,
    energy_j: f64,
    low_w: f64,
    high_w: f64,
}

impl Default for Minute {
    fn default() -> Self {
        let (low_w, high_w) = (f64::INFINITY, f64::NEG_INFINITY);
        Self { span_s: 0.0, busy_s: 0.0, energy_j: 0.0, low_w, high_w }
    }
}

impl LoadWatch {
    /// A measured stretch with the cores this busy.
    pub(super) fn take(&mut self, span: Seconds, busy: Share, draw: Watts, board: &BoardModel) {
        let (dt, watts) = (span.si(), draw.si());
        if dt <= 0.0 || dt > super::GAP_S {
            self.open = Minute::default();
            return;
        }
        let open = &mut self.open;
        open.span_s += dt;
        open.busy_s += busy.part() * dt;
        open.energy_j += watts * dt;
        open.low_w = open.low_w.min(watts);
        open.high_w = open.high_w.max(watts);
        if open.span_s < 60.0 {
            return;
        }
        let Minute { span_s, busy_s, energy_j, low_w, high_w } = core::mem::take(open);
        let most_w = MARGIN * (board.full - board.idle).si() + MARGIN_W;
        if high_w - low_w <= most_w {
            let (busy, mean) = (Share::nearest(busy_s / span_s), Watts::of(energy_j / span_s));
            self.fit.add(Seconds::of(span_s), busy, mean);
        }
    }

    /// Watts from idle to all cores busy, once a load that changed has told them.
    pub(super) fn line(&self) -> Option<Slope> {
        self.fit.line().filter(|line| line.pairs >= FEWEST && line.slope > 2.0 * line.slope_se)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_radio_on_the_same_sensor_does_not_make_load_look_cheap() {
        // A 4B: 3.06 W idle, 6.12 W under stress (Raspberry Pi documentation at 5.1 V). Slots of
        // 15 s, 12.64 s of carrier (QEX Jul/Aug 2020), decoding only after received ones.
        let board = BoardModel::of(Some(crate::draw::BoardKind::FourB), None);
        let mut watch = LoadWatch::default();
        for second in 0..7200_u32 {
            let contact = second / 60 % 5 == 4;
            let sent = contact && second / 15 % 2 == 0;
            let decodes = second % 15 >= 13 && !sent;
            let busy = if decodes { 0.9 } else { 0.1 + 0.05 * f64::from(second / 60 % 7) };
            let radio_w = if sent && second % 15 < 13 { 12.0 } else { 1.2 };
            let watts = 3.06 + 3.06 * busy + radio_w;
            watch.take(Seconds::of(1.0), Share::nearest(busy), Watts::of(watts), &board);
        }
        let line = watch.line().unwrap();
        assert!((line.slope / 3.06 - 1.0).abs() < 0.03, "{line:?}");
        assert!((line.intercept / (3.06 + 1.2) - 1.0).abs() < 0.03, "{line:?}");
    }
}
