//! The outing's draw so far in at most [`MOST_STEPS`] even steps, for the day line.

use alloc::sync::Arc;

use crate::{snapshot::DrawHistory, time::Mono, units::Watts};

/// Steps at most; when they are full, the step's length doubles.
pub(super) const MOST_STEPS: usize = 240;
/// Ticks at most; the oldest go first.
const MOST_TICKS: usize = 48;
const FIRST_STEP_S: u32 = 10;

/// Builds the draw history.
#[derive(Clone, Debug)]
pub(super) struct DrawHistoryMaker {
    done: Arc<DrawHistory>,
    open: Open,
}

/// The step that is being filled.
#[derive(Clone, Copy, Debug, Default)]
struct Open {
    filled_s: f64,
    known_s: f64,
    energy_j: f64,
    peak_w: f64,
}

impl DrawHistoryMaker {
    /// An empty one from then on.
    pub(super) fn new(began: Mono) -> Self {
        let empty = DrawHistory { began, step_s: FIRST_STEP_S, ..DrawHistory::default() };
        Self { done: Arc::new(empty), open: Open::default() }
    }

    /// Adds a stretch; `None` is a gap.
    pub(super) fn add(&mut self, dt_s: f64, watts: Option<Watts>) {
        // A stretch longer than a whole history would only push everything else out of it.
        let mut rest = dt_s.clamp(0.0, 1e8);
        while rest > 0.0 {
            let room = f64::from(self.done.step_s) - self.open.filled_s;
            let part = rest.min(room);
            self.open.fill(part, watts);
            rest -= part;
            if rest > 0.0 || part >= room {
                self.close_step();
            }
        }
    }

    fn close_step(&mut self) {
        let (mean, peak) = self.open.sums();
        self.open = Open::default();
        let draw_history = Arc::make_mut(&mut self.done);
        draw_history.mean_w.push(mean);
        draw_history.peak_w.push(peak);
        if draw_history.mean_w.len() >= MOST_STEPS {
            draw_history.mean_w = draw_history.mean_w.chunks(2).map(mean_of).collect();
            draw_history.peak_w = draw_history.peak_w.chunks(2).map(peak_of).collect();
            draw_history.step_s = draw_history.step_s.saturating_mul(2);
        }
    }

    /// A moment worth a tick.
    pub(super) fn tick(&mut self, at: Mono) {
        let draw_history = Arc::make_mut(&mut self.done);
        if draw_history.ticks.last() == Some(&at) {
            return;
        }
        if draw_history.ticks.len() >= MOST_TICKS {
            draw_history.ticks.remove(0);
        }
        draw_history.ticks.push(at);
    }

    /// All whole steps.
    pub(super) fn draw_history(&self) -> Arc<DrawHistory> {
        Arc::clone(&self.done)
    }
}

impl Open {
    fn fill(&mut self, dt_s: f64, watts: Option<Watts>) {
        self.filled_s += dt_s;
        if let Some(watts) = watts {
            let watts = watts.si().max(0.0);
            self.known_s += dt_s;
            self.energy_j += watts * dt_s;
            self.peak_w = self.peak_w.max(watts);
        }
    }

    /// Mean and peak; unknown for more than half of the step is a gap.
    fn sums(&self) -> (Option<f32>, Option<f32>) {
        if self.known_s <= 0.0 || self.known_s * 2.0 < self.filled_s {
            return (None, None);
        }
        (Some(narrow(self.energy_j / self.known_s)), Some(narrow(self.peak_w)))
    }
}

#[expect(clippy::cast_possible_truncation, reason = "a drawing needs no more digits")]
fn narrow(watts: f64) -> f32 {
    watts as f32
}

fn mean_of(pair: &[Option<f32>]) -> Option<f32> {
    let (count, sum) =
        pair.iter().flatten().fold((0.0, 0.0), |(count, sum), one| (count + 1.0, sum + one));
    (count > 0.0).then(|| sum / count)
}

fn peak_of(pair: &[Option<f32>]) -> Option<f32> {
    pair.iter().flatten().copied().reduce(f32::max)
}
