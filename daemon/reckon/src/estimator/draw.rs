//! The draw: what it is now, what it has been, and what its mean may be over the hours ahead.

use super::{LoadPrior, learned::Learned};
use crate::bank::{BankSpec, MeasuredAt};

/// Memory of the present regime, seconds.
const SHORT_S: f64 = 600.0;
/// Memory of the outing, seconds.
const LONG_S: f64 = 7200.0;
/// Share of the time a radio operator transmits, before anything is known (common practice).
const USUAL_SENDING: f64 = 0.12;

/// Short and long memory of the draw.
#[derive(Clone, Debug)]
pub(super) struct Draw {
    measured: bool,
    model: [f64; 2],
    short_w: Option<f64>,
    long_w: Option<f64>,
    usual_w: f64,
    worth_h: f64,
    read_s: f64,
}

impl Draw {
    pub(super) fn new(bank: &BankSpec, load: &LoadPrior, learned: &Learned) -> Self {
        let idle = load.idle_w.unwrap_or(2.5);
        let work = (load.full_w.unwrap_or(idle * 2.2) - idle).max(0.0);
        let receive = load.radio_receive_w.unwrap_or(0.0);
        let transmit = load.radio_transmit_w.unwrap_or(receive).max(receive);
        let constant =
            idle + load.accessories_w.max(0.0) + receive + USUAL_SENDING * (transmit - receive);
        // What is usual weighs as much as so many hours of this outing: earlier outings much,
        // printed figures little, a guess nearly nothing.
        let guessed = if load.idle_w.is_some() { 0.7 } else { 0.02 };
        let (usual_w, worth_h) =
            learned.mean_draw().map_or((constant + 0.2 * work, guessed), |w| (w, 4.0));
        Self {
            measured: bank.measured_at != MeasuredAt::Nowhere,
            model: [constant, work],
            short_w: None,
            long_w: None,
            usual_w: usual_w.max(0.05),
            worth_h,
            read_s: 0.0,
        }
    }

    /// Takes one step; gives the mean draw over it and whether that was bridged.
    pub(super) fn take(
        &mut self,
        dt: f64,
        watts: Option<f64>,
        cpu_busy: Option<f64>,
    ) -> (f64, bool) {
        let got = if self.measured {
            watts
        } else {
            cpu_busy.map(|u| self.model[0] + self.model[1] * u.clamp(0.0, 1.0))
        };
        let Some(w) = got else {
            return (self.short_w.unwrap_or(self.usual_w), true);
        };
        self.read_s += dt;
        for (memory, tau) in [(&mut self.short_w, SHORT_S), (&mut self.long_w, LONG_S)] {
            let old = memory.unwrap_or(w);
            // Early on every reading counts the same; later the memory fades.
            let share = (dt / tau).max(dt / self.read_s.max(dt)).min(1.0);
            *memory = Some(old + share * (w - old));
        }
        (w, false)
    }

    pub(super) const fn seen_s(&self) -> f64 {
        self.read_s
    }

    pub(super) const fn is_measured(&self) -> bool {
        self.measured
    }

    pub(super) const fn now_w(&self) -> Option<f64> {
        self.short_w
    }

    /// Mean and deviation of the logarithm of the mean draw over so many hours ahead.
    pub(super) fn mean_over(&self, hours: f64) -> (f64, f64) {
        let short = self.short_w.unwrap_or(self.usual_w);
        let long = self.long_w.unwrap_or(self.usual_w);
        let seen_h = self.read_s / 3600.0;
        // The present holds for about an hour and a half; then the outing's mix, leaning on what
        // is usual while little of the outing has been seen.
        let present =
            if hours > 1e-6 { (1.0 - libm::exp(-hours / 1.5)) / (hours / 1.5) } else { 1.0 };
        let trust = seen_h / (seen_h + self.worth_h);
        let mix = trust * long + (1.0 - trust) * self.usual_w;
        let w = (present * short + (1.0 - present) * mix).max(0.02);
        let own = if self.measured { 0.08 } else { 0.20 };
        (libm::log(w), own + 0.12 * (1.0 - present))
    }
}
