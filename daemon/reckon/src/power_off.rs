//! The clean power-off, as a machine of few states that touches nothing.
//!
//! When the cautious remaining time falls below a limit while a bank is really being drained, a
//! countdown begins that a person can stop or shorten and that ends when power comes back. At its
//! end whoever must save is told first; only then come the record, the card and the switch.

use alloc::{string::String, vec::Vec};
use core::time::Duration;

use crate::time::Mono;

/// How long the limit must be passed before the countdown begins, seconds.
const HOLD_S: f64 = 20.0;
/// A bank is known well enough to be switched off unattended when its hopeful end is nearer than so
/// many times the limit, or than such a share of the run so far. (A bank's own run-downs differ by two
/// to three hundredths of their life, so that the range of a known one is about a tenth of it.)
const KNOWN_LIMITS: f64 = 12.0;
const KNOWN_SHARE: f64 = 0.15;
/// How long a person's 'now' can be taken back, seconds: a thumb that slipped, in gloves.
const TAKEN_BACK_S: f64 = 10.0;
/// Time to save, seconds.
const SAVE_S: f64 = 60.0;
/// Time after the request from which a board that still runs counts as not switched off, seconds.
const GONE_BY_S: f64 = 180.0;

/// What the owner wants of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PowerOffWants {
    /// Below this cautious remaining time the board is switched off; `None` leaves it on.
    pub limit: Option<Duration>,
    /// How long a person has to stop it.
    pub countdown: Duration,
    /// Also where nobody measures the draw, so that nobody can tell a bank from the mains.
    pub unmeasured: bool,
    /// Whether the unit that switches off is installed.
    pub unit: bool,
}

impl Default for PowerOffWants {
    fn default() -> Self {
        Self {
            limit: Some(Duration::from_secs(300)),
            countdown: Duration::from_secs(120),
            unmeasured: false,
            unit: false,
        }
    }
}

/// Where it stands, for a page.
#[derive(Clone, Debug, PartialEq)]
pub enum PowerOff {
    /// The settings leave the board on.
    Unwanted,
    /// The unit that could do it is not installed.
    NoUnit,
    /// The limit has not been passed.
    Watching {
        /// The limit.
        limit: Duration,
    },
    /// The board is switched off at that moment.
    Counting {
        /// Since when.
        since: Mono,
        /// When it ends.
        until: Mono,
    },
    /// The bank may end any minute, or last hours more: it is not known well enough to be switched
    /// off without somebody's word.
    Unsure {
        /// Since when.
        since: Mono,
    },
    /// A person has stopped it; it starts again only after more was left in between.
    Stopped {
        /// When.
        at: Mono,
    },
    /// Programs save.
    Saving {
        /// Since when.
        since: Mono,
    },
    /// The record is closed, the card is synced, the request is made.
    Closing {
        /// Since when.
        since: Mono,
    },
    /// The request has been made.
    Asked {
        /// When.
        at: Mono,
    },
    /// It could not be done.
    Failed {
        /// Why, as a sentence.
        why: String,
    },
}

/// Why a countdown was called off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CalledOff {
    /// A person stopped it.
    ByPerson,
    /// Energy no longer comes out of the bank.
    PowerIsBack,
    /// More is left than it looked like.
    MoreIsLeft,
    /// Another bank is connected.
    OtherBank,
    /// A run-down test was begun.
    Test,
}

/// What has to be done, told once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// A countdown has begun and ends then.
    Announce {
        /// When it ends.
        until: Mono,
    },
    /// It was called off.
    CallOff(CalledOff),
    /// Tell whoever must save, and say when they have.
    Save,
    /// Close the record, sync the card and make the request, in this order.
    SwitchOff,
}

/// What a person may ask of a countdown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PowerOffAsk {
    /// Do not switch off.
    Stop,
    /// Switch off now.
    Now,
}

/// What the machine looks at.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct PowerOffInputs {
    /// Cautious remaining time, seconds; `None` while there is no forecast.
    pub(crate) cautious_s: Option<f64>,
    /// Hopeful remaining time, seconds.
    pub(crate) hopeful_s: Option<f64>,
    /// How long the bank has been drained in this outing, seconds.
    pub(crate) run_s: f64,
    /// Energy is taken from the bank.
    pub(crate) draining: bool,
    /// Somebody measures it, and answers. A countdown cannot begin without; one that has begun goes
    /// on, since silence is no sign of more.
    pub(crate) measured: bool,
    /// A run-down test is on.
    pub(crate) testing: bool,
}

#[derive(Clone, Debug, PartialEq, Default)]
enum State {
    #[default]
    Watching,
    Unsure {
        since: Mono,
    },
    Counting {
        since: Mono,
        until: Mono,
    },
    Stopped {
        at: Mono,
    },
    Saving {
        since: Mono,
    },
    Closing {
        since: Mono,
    },
    Asked {
        at: Mono,
    },
    Failed {
        why: String,
    },
}

/// The machine.
#[derive(Clone, Debug, Default)]
pub(crate) struct Watch {
    wants: PowerOffWants,
    state: State,
    /// Since when a change of state has been wanted without a break.
    turning: Option<Mono>,
    orders: Vec<Order>,
}

impl Watch {
    /// As somebody wants it.
    pub(crate) fn new(wants: PowerOffWants) -> Self {
        Self { wants, ..Self::default() }
    }

    /// Looks at one second.
    pub(crate) fn observe(&mut self, seen: &PowerOffInputs, now: Mono) {
        match self.state.clone() {
            State::Watching => {
                if self.held(self.is_low(seen), now, HOLD_S) {
                    if self.is_known(seen) {
                        self.count_down(now);
                    } else {
                        self.turn(State::Unsure { since: now });
                    }
                }
            }
            State::Unsure { .. } => self.look_unsure(seen, now),
            State::Counting { until, .. } => {
                if let Some(why) = self.reason_to_stop(seen, now) {
                    self.call_off(why);
                } else if now >= until {
                    self.save(now);
                }
            }
            State::Saving { since } => {
                if !seen.draining {
                    self.call_off(CalledOff::PowerIsBack);
                } else if now.seconds_since(since).si() >= SAVE_S {
                    self.saved(now);
                }
            }
            State::Stopped { .. } | State::Failed { .. } => {
                if self.held(self.is_over(seen), now, HOLD_S) {
                    self.turn(State::Watching);
                }
            }
            State::Asked { at } => {
                if now.seconds_since(at).si() >= GONE_BY_S {
                    let why = String::from(crate::words::power_off::STILL_ON);
                    self.turn(State::Failed { why });
                }
            }
            State::Closing { since } => {
                if now.seconds_since(since).si() >= SAVE_S {
                    let why = String::from(crate::words::power_off::NOT_CLOSED);
                    self.turn(State::Failed { why });
                }
            }
        }
    }

    fn limit_s(&self) -> Option<f64> {
        self.wants.limit.filter(|_| self.wants.unit).map(|limit| limit.as_secs_f64())
    }

    /// The cautious end is below the limit, and somebody sees it.
    fn is_low(&self, seen: &PowerOffInputs) -> bool {
        let (Some(limit), Some(left)) = (self.limit_s(), seen.cautious_s) else { return false };
        let known = seen.measured || self.wants.unmeasured;
        left < limit && seen.draining && known && !seen.testing
    }

    /// The hopeful end is not far away either.
    fn is_known(&self, seen: &PowerOffInputs) -> bool {
        let far = (KNOWN_LIMITS * self.limit_s().unwrap_or(0.0)).max(KNOWN_SHARE * seen.run_s);
        seen.hopeful_s.is_some_and(|left| left < far)
    }

    fn look_unsure(&mut self, seen: &PowerOffInputs, now: Mono) {
        if seen.testing || self.limit_s().is_none() {
            self.turn(State::Watching);
            return;
        }
        let (low, over) = (self.is_low(seen) && self.is_known(seen), self.is_over(seen));
        if self.held(low || over, now, HOLD_S) {
            if low {
                self.count_down(now);
            } else {
                self.turn(State::Watching);
            }
        }
    }

    fn count_down(&mut self, now: Mono) {
        let until = now.plus(self.wants.countdown);
        self.turn(State::Counting { since: now, until });
        self.orders.push(Order::Announce { until });
    }

    /// Much more is left than the limit, as somebody sees who reads the draw, or nothing is taken
    /// from the bank. A silent sensor says neither.
    fn is_over(&self, seen: &PowerOffInputs) -> bool {
        let limit = self.limit_s().unwrap_or(0.0);
        let known = seen.measured || self.wants.unmeasured;
        let more = seen.cautious_s.is_some_and(|left| left > 1.5 * limit + 120.0);
        !seen.draining || (known && more)
    }

    fn reason_to_stop(&mut self, seen: &PowerOffInputs, now: Mono) -> Option<CalledOff> {
        if seen.testing {
            return Some(CalledOff::Test);
        }
        if !seen.draining {
            return Some(CalledOff::PowerIsBack);
        }
        self.held(self.is_over(seen), now, HOLD_S).then_some(CalledOff::MoreIsLeft)
    }

    /// Whether this has been wanted for so long.
    fn held(&mut self, wanted: bool, now: Mono, hold_s: f64) -> bool {
        if !wanted {
            self.turning = None;
            return false;
        }
        now.seconds_since(*self.turning.get_or_insert(now)).si() >= hold_s
    }

    fn turn(&mut self, state: State) {
        self.state = state;
        self.turning = None;
    }

    fn call_off(&mut self, why: CalledOff) {
        self.turn(State::Watching);
        self.orders.push(Order::CallOff(why));
    }

    fn save(&mut self, now: Mono) {
        self.turn(State::Saving { since: now });
        self.orders.push(Order::Save);
    }

    /// A person's word; `false` where there is nothing to stop, shorten or begin. Each of the two can
    /// be taken back by the other, until the record is being closed.
    pub(crate) fn ask(&mut self, ask: PowerOffAsk, now: Mono) -> bool {
        let soon = now.plus(Duration::from_secs_f64(TAKEN_BACK_S));
        match (&self.state, ask) {
            (State::Counting { .. } | State::Saving { .. }, PowerOffAsk::Stop) => {
                self.call_off(CalledOff::ByPerson);
                self.turn(State::Stopped { at: now });
            }
            (State::Unsure { .. }, PowerOffAsk::Stop) => self.turn(State::Stopped { at: now }),
            (State::Counting { since, until }, PowerOffAsk::Now) => {
                self.turn(State::Counting { since: *since, until: soon.min(*until) });
            }
            (
                State::Unsure { .. } | State::Stopped { .. } | State::Failed { .. },
                PowerOffAsk::Now,
            ) => {
                self.turn(State::Counting { since: now, until: soon });
                self.orders.push(Order::Announce { until: soon });
            }
            _ => return false,
        }
        true
    }

    /// Another bank is connected.
    pub(crate) fn new_bank(&mut self) {
        match self.state {
            State::Counting { .. } | State::Saving { .. } => self.call_off(CalledOff::OtherBank),
            State::Unsure { .. } | State::Stopped { .. } | State::Failed { .. } => {
                self.turn(State::Watching);
            }
            State::Watching | State::Closing { .. } | State::Asked { .. } => {}
        }
    }

    /// Whether a countdown is on, or what comes after it.
    pub(crate) const fn is_under_way(&self) -> bool {
        matches!(self.state, State::Counting { .. } | State::Saving { .. } | State::Closing { .. })
    }

    /// Everybody has saved.
    pub(crate) fn saved(&mut self, now: Mono) {
        if matches!(self.state, State::Saving { .. }) {
            self.turn(State::Closing { since: now });
            self.orders.push(Order::SwitchOff);
        }
    }

    /// The request was made, or could not be.
    pub(crate) fn switched_off(&mut self, outcome: Result<(), String>, now: Mono) {
        if matches!(self.state, State::Closing { .. }) {
            self.turn(match outcome {
                Ok(()) => State::Asked { at: now },
                Err(why) => State::Failed { why },
            });
        }
    }

    pub(crate) fn orders(&mut self) -> Vec<Order> {
        core::mem::take(&mut self.orders)
    }

    /// Where it stands.
    pub(crate) fn view(&self) -> PowerOff {
        match self.state.clone() {
            State::Watching => match (self.wants.limit, self.wants.unit) {
                (None, _) => PowerOff::Unwanted,
                (Some(_), false) => PowerOff::NoUnit,
                (Some(limit), true) => PowerOff::Watching { limit },
            },
            State::Unsure { since } => PowerOff::Unsure { since },
            State::Counting { since, until } => PowerOff::Counting { since, until },
            State::Stopped { at } => PowerOff::Stopped { at },
            State::Saving { since } => PowerOff::Saving { since },
            State::Closing { since } => PowerOff::Closing { since },
            State::Asked { at } => PowerOff::Asked { at },
            State::Failed { why } => PowerOff::Failed { why },
        }
    }
}

#[cfg(test)]
mod tests;
