//! Accessories switched by a mark: 'fan on', 'display off'. The draw of the two minutes before is
//! set against that of the two minutes after.

use alloc::{collections::VecDeque, string::String, sync::Arc, vec::Vec};

use crate::{energy_tally::BeforeAfter, snapshot::Switched, time::Mono, units::Watts};

/// Readings on each side: two minutes hold whole periods of every timed mode.
const SIDE: usize = 120;
/// Readings left out after the mark, while the accessory starts.
const STARTS: usize = 5;

/// The readings of the last minutes and the mark that is being judged.
#[derive(Clone, Debug, Default)]
pub(super) struct Switches {
    lately: VecDeque<Watts>,
    open: Option<Open>,
    latest: Option<Arc<Switched>>,
    judged: Vec<Arc<Switched>>,
}

#[derive(Clone, Debug)]
struct Open {
    mark: String,
    at: Mono,
    marked: BeforeAfter,
    seen: usize,
}

impl Switches {
    /// A reading of a second.
    pub(super) fn observe(&mut self, draw: Watts) {
        if let Some(open) = &mut self.open {
            open.seen += 1;
            if open.seen <= STARTS {
                return;
            }
            open.marked.after(draw);
            if open.seen >= STARTS + SIDE {
                self.judge();
            }
        }
        if self.lately.len() >= SIDE {
            self.lately.pop_front();
        }
        self.lately.push_back(draw);
    }

    /// A reading of which only a bound is known: what lies around it is not compared.
    pub(super) fn leave_out(&mut self) {
        self.lately.clear();
        self.open = None;
    }

    /// A mark was made; most of them switch nothing.
    pub(super) fn mark(&mut self, text: &str, at: Mono) {
        if !is_switch(text) {
            return;
        }
        self.judge();
        let mut marked = BeforeAfter::default();
        for draw in self.lately.drain(..) {
            marked.before(draw);
        }
        self.open = Some(Open { mark: String::from(text.trim()), at, marked, seen: 0 });
    }

    /// The last one that could be judged.
    pub(super) fn latest(&self) -> Option<Arc<Switched>> {
        self.latest.clone()
    }

    /// Those judged since the last call.
    pub(super) fn drain(&mut self) -> Vec<Arc<Switched>> {
        core::mem::take(&mut self.judged)
    }

    fn judge(&mut self) {
        let Some(Open { mark, at, marked, .. }) = self.open.take() else { return };
        // Too little on one side says nothing.
        let Some((difference, error)) = marked.difference() else { return };
        let judged = Arc::new(Switched { mark, at, difference, error });
        self.latest = Some(Arc::clone(&judged));
        self.judged.push(judged);
    }
}

/// A name, then 'on' or 'off'.
pub(crate) fn is_switch(text: &str) -> bool {
    let mut words = text.split_whitespace().rev();
    let way = words.next().unwrap_or("");
    (way.eq_ignore_ascii_case("on") || way.eq_ignore_ascii_case("off")) && words.next().is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_name_and_a_way_is_a_switch() {
        for yes in ["fan on", "Display OFF", " the small lamp on "] {
            assert!(is_switch(yes), "{yes}");
        }
        for no in ["on", "off", "", "fan", "on the summit", "carry on, fan"] {
            assert!(!is_switch(no), "{no}");
        }
    }

    #[test]
    fn a_second_mark_is_set_against_what_followed_the_first() {
        let mut all = Switches::default();
        let take = |all: &mut Switches, n: u32, watts: f64| {
            for k in 0..n {
                all.observe(Watts::of(watts + 0.01 * f64::from(k % 3)));
            }
        };
        take(&mut all, 200, 3.0);
        all.mark("fan on", Mono::at_s(200.0));
        take(&mut all, 90, 3.6);
        assert!(all.drain().is_empty(), "not two minutes yet");
        all.mark("display on", Mono::at_s(290.0));
        take(&mut all, 130, 4.5);
        let judged = all.drain();
        let said: Vec<(&str, f64)> =
            judged.iter().map(|it| (it.mark.as_str(), it.difference.si())).collect();
        assert_eq!(said.len(), 2, "{said:?}");
        assert_eq!((said[0].0, said[1].0), ("fan on", "display on"));
        assert!((said[0].1 - 0.6).abs() < 0.01 && (said[1].1 - 0.9).abs() < 0.01, "{said:?}");
        // Nothing to set it against.
        let mut fresh = Switches::default();
        fresh.mark("fan on", Mono::at_s(1.0));
        take(&mut fresh, 200, 3.0);
        assert!(fresh.drain().is_empty());
    }

    #[test]
    fn what_an_accessory_takes_while_it_starts_does_not_count() {
        // A small fan's motor takes several times its running current until it turns (makers'
        // sheets: within a few seconds); it is the running draw that is told.
        let mut all = Switches::default();
        let noise = |k: u32| 0.01 * f64::from(k % 3);
        for k in 0..200 {
            all.observe(Watts::of(3.0 + noise(k)));
        }
        all.mark("fan on", Mono::at_s(200.0));
        for k in 0..130 {
            let fan = if k < 5 { 30.0 } else { 0.6 };
            all.observe(Watts::of(3.0 + fan + noise(k)));
        }
        let judged = all.drain();
        assert!((judged[0].difference.si() - 0.6).abs() < 0.01, "{:?}", judged[0].difference);
    }
}
