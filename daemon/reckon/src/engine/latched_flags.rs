//! Latches the board's flags: the kernel forgets them after 2 s, the operator must not.

use alloc::collections::VecDeque;

use crate::{
    reading::{BoardReading, Strain},
    time::Mono,
};

/// Reports closer together than this are one event. The alarm file and the sticky flag tell of the
/// same dip up to two of the kernel's 2 s polls apart.
const SAME_S: f64 = 5.0;
/// How far back 'several times lately' looks.
const LATELY_S: f64 = 600.0;
const MOST_KEPT: usize = 64;

/// What has been seen of undervoltage and heat.
#[derive(Clone, Debug, Default)]
pub(super) struct LatchedFlags {
    /// Undervoltage events in this outing.
    pub(super) times: u32,
    /// Flags seen in this outing.
    pub(super) seen: Strain,
    last_low: Option<Mono>,
    recent: VecDeque<Mono>,
}

impl LatchedFlags {
    /// Takes the board's flags of one sweep; says whether a new undervoltage event began.
    pub(super) fn observe(&mut self, board: &BoardReading, at: Mono) -> bool {
        let low = is_low(board);
        if let Ok(flags) = board.flags {
            self.seen = either(self.seen, either(flags.now, flags.lately));
        }
        self.seen.undervoltage |= low;
        if !low {
            return false;
        }
        let fresh = self.last_low.is_none_or(|last| at.seconds_since(last).si() > SAME_S);
        self.last_low = Some(at);
        if fresh {
            self.times = self.times.saturating_add(1);
            if self.recent.len() >= MOST_KEPT {
                self.recent.pop_front();
            }
            self.recent.push_back(at);
        }
        fresh
    }

    /// Events in the last ten minutes.
    pub(super) fn lately(&self, now: Mono) -> u32 {
        let recent = self.recent.iter().filter(|at| now.seconds_since(**at).si() <= LATELY_S);
        u32::try_from(recent.count()).unwrap_or(u32::MAX)
    }
}

/// Whether either detector reports the supply too low.
pub(super) fn is_low(board: &BoardReading) -> bool {
    board.undervoltage == Ok(true)
        || board.flags.is_ok_and(|flags| flags.now.undervoltage || flags.lately.undervoltage)
}

fn either(one: Strain, other: Strain) -> Strain {
    Strain {
        undervoltage: one.undervoltage || other.undervoltage,
        capped: one.capped || other.capped,
        throttled: one.throttled || other.throttled,
        soft_hot: one.soft_hot || other.soft_hot,
    }
}
