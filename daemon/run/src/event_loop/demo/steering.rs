//! How viewers steer the demonstration: which part is shown, whether it stands still, whether it
//! hurries on to the next part.

use std::{
    sync::{Condvar, Mutex, MutexGuard, PoisonError},
    time::Duration,
};

use reckon::snapshot::{DemoPart, DemoShown};
use web::{DemoAsk, Demonstration};

/// The speed for which the times of the day were chosen.
const USUAL_SPEED: f64 = 60.0;

/// Shared by whoever plays and whoever serves the pages.
pub(crate) struct Steering {
    /// How many times faster than life.
    pub(crate) speed: u16,
    state: Mutex<State>,
    changed: Condvar,
}

#[derive(Default)]
struct State {
    shown: DemoShown,
    hurry: bool,
}

impl Steering {
    pub(crate) fn new(speed: u16) -> Self {
        Self { speed, state: Mutex::default(), changed: Condvar::new() }
    }

    /// Begins this part; whoever hurried is there.
    pub(crate) fn begin(&self, part: DemoPart) {
        let mut state = self.state();
        state.shown.part = part;
        state.hurry = false;
        self.changed.notify_all();
    }

    /// Begins this part if it comes later than the one that is shown.
    pub(crate) fn reach(&self, part: DemoPart) {
        if part > self.shown().part {
            self.begin(part);
        }
    }

    /// Whether a viewer waits for the next part.
    pub(crate) fn hurries(&self) -> bool {
        self.state().hurry
    }

    /// Lets real time pass, counted at the usual speed: none while a viewer hurries, and as much more as
    /// one pauses, of which is told.
    pub(crate) fn rest(&self, span: Duration, mut tell: impl FnMut(DemoShown)) {
        let goes = |state: &mut State| !state.hurry && !state.shown.paused;
        let waited = self.changed.wait_timeout_while(self.state(), span, goes);
        let state = waited.unwrap_or_else(PoisonError::into_inner).0;
        if !state.shown.paused {
            return;
        }
        let paused = state.shown;
        drop(state);
        tell(paused);
        let state = self.changed.wait_while(self.state(), |state| state.shown.paused);
        let goes_on = state.unwrap_or_else(PoisonError::into_inner).shown;
        tell(goes_on);
    }

    /// The board is off, for so many seconds at the usual speed.
    pub(crate) fn night(&self, lasts_s: u32) {
        self.begin(DemoPart::Empty);
        let second = Duration::from_secs_f64(USUAL_SPEED / f64::from(self.speed));
        for _ in 0..lasts_s {
            self.rest(second.min(Duration::from_secs(1)), |_| {});
        }
        self.begin(DemoPart::Morning);
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Demonstration for Steering {
    fn shown(&self) -> DemoShown {
        self.state().shown
    }

    fn ask(&self, ask: DemoAsk) {
        let mut state = self.state();
        state.shown.paused = ask == DemoAsk::Pause;
        state.hurry |= ask == DemoAsk::Next;
        self.changed.notify_all();
    }
}
