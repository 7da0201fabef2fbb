//! Close-ups: the last minute is held second by second, and when something happens it goes into the
//! record with the minute after it.
//!
//! The minute before is handed over at once, together with the event: the bank may not live through
//! the minute after. What follows comes as a second part, without a reason unless more happened.

use std::collections::VecDeque;

use reckon::record::{CloseUp, Second};

/// Seconds before and after an event.
const AROUND: usize = 60;
/// Events that follow closely make one close-up, but none has more seconds than this.
const MOST: usize = 300;
/// Upper limit per hour, to spare the card: single ones take 7 KiB an hour then, and the longest
/// possible 18 KiB.
const AN_HOUR: f64 = 6.0;
/// Longest reason, characters.
const LONGEST_WHY: usize = 200;

/// The last seconds, and the close-up that goes on.
#[derive(Debug)]
pub(crate) struct Ring {
    /// Second by second, without holes; those handed over are gone.
    seconds: VecDeque<Second>,
    /// In which second the newest of them was read, seconds since boot.
    newest_s: f64,
    open: Option<Open>,
    /// Close-ups that may still be begun, and when that was counted.
    left: f64,
    counted_s: f64,
}

#[derive(Debug)]
struct Open {
    /// What happened and was not handed over yet.
    why: String,
    /// Seconds handed over.
    told: usize,
    /// Seconds still to come.
    more: usize,
}

impl Default for Ring {
    fn default() -> Self {
        let (seconds, open) = (VecDeque::new(), None);
        Self { seconds, newest_s: f64::NEG_INFINITY, open, left: AN_HOUR, counted_s: 0.0 }
    }
}

impl Ring {
    /// One more second: the look may have been anywhere within it. Gives the last part of a close-up
    /// that is complete.
    pub(crate) fn push(&mut self, at_s: f64, second: Second) -> Option<CloseUp> {
        let at_s = at_s.floor();
        let steps = steps(at_s - self.newest_s);
        let mut part = None;
        if steps > AROUND || at_s < self.newest_s {
            // After a long silence what was before does not belong together with it.
            part = self.finish();
            self.seconds.clear();
        }
        match steps {
            0 => drop(self.seconds.pop_back()),
            1..=AROUND => self.seconds.extend(std::iter::repeat_n(Second::default(), steps - 1)),
            _ => {}
        }
        self.seconds.push_back(second);
        self.newest_s = at_s;
        match &mut self.open {
            Some(open) => {
                open.more = open.more.saturating_sub(steps);
                if open.more == 0 {
                    part = self.finish();
                }
            }
            None => {
                let old = self.seconds.len().saturating_sub(AROUND);
                self.seconds.drain(..old);
            }
        }
        part
    }

    /// Something happened. Gives the seconds till now if a close-up begins with it.
    pub(crate) fn happened(&mut self, why: &str) -> Option<CloseUp> {
        if let Some(open) = &mut self.open {
            let joint = if open.why.is_empty() { "" } else { "; " };
            open.why.push_str(joint);
            open.why.push_str(why);
            open.more = AROUND.min(MOST.saturating_sub(open.told + self.seconds.len()));
            return None;
        }
        let hours = (self.newest_s - self.counted_s).max(0.0) / 3600.0;
        self.left = (self.left + hours * AN_HOUR).min(AN_HOUR);
        self.counted_s = self.counted_s.max(self.newest_s);
        if self.left < 1.0 {
            return None;
        }
        self.left -= 1.0;
        let told = self.seconds.len();
        let part = self.hand_over(why);
        let why = if part.is_some() { String::new() } else { why.to_owned() };
        self.open = Some(Open { why, told, more: AROUND });
        part
    }

    /// Ends the close-up that goes on and gives its last part.
    pub(crate) fn finish(&mut self) -> Option<CloseUp> {
        let open = self.open.take()?;
        self.hand_over(&open.why)
    }

    /// The seconds held, unless nothing was read in any of them.
    fn hand_over(&mut self, why: &str) -> Option<CloseUp> {
        let seconds: Vec<Second> = self.seconds.drain(..).collect();
        if seconds.iter().all(|second| *second == Second::default()) {
            return None;
        }
        #[expect(clippy::cast_precision_loss, reason = "a few hundred at most")]
        let from_s = self.newest_s - (seconds.len() - 1) as f64;
        let why = why.chars().take(LONGEST_WHY).collect();
        Some(CloseUp { from_s, why, seconds })
    }
}

/// Whole seconds passed.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a float cast saturates, which is meant"
)]
fn steps(passed_s: f64) -> usize {
    passed_s.round() as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(k: u32) -> Second {
        Second { volts: Some(5.0), watts: Some(f64::from(k)) }
    }

    /// Seconds `from..to` pushed a little off the whole second; the parts that came of it.
    fn push(ring: &mut Ring, from: u32, to: u32) -> Vec<CloseUp> {
        (from..to)
            .filter_map(|k| ring.push(f64::from(k) + 0.004 * f64::from(k % 3), read(k)))
            .collect()
    }

    /// First and last second of a part, by their draw.
    fn ends(part: &CloseUp) -> (f64, f64) {
        let watts = |second: Option<&Second>| second.unwrap().watts.unwrap();
        (watts(part.seconds.first()), watts(part.seconds.last()))
    }

    #[test]
    fn the_minute_before_goes_at_once_and_the_minute_after_follows() {
        let mut ring = Ring::default();
        assert!(push(&mut ring, 0, 1000).is_empty());
        let before = ring.happened("undervoltage").unwrap();
        assert_eq!(ends(&before), (940.0, 999.0));
        assert!((before.from_s - 940.0).abs() < 0.02, "{}", before.from_s);
        let after = push(&mut ring, 1000, 1200);
        assert_eq!(after.iter().map(ends).collect::<Vec<_>>(), [(1000.0, 1059.0)]);
        assert_eq!((before.why.as_str(), after[0].why.as_str()), ("undervoltage", ""));
        assert!((before.from_s + 60.0 - after[0].from_s).abs() < 0.02, "no hole between the two");
    }

    #[test]
    fn looks_that_wander_over_their_second_leave_no_hole() {
        let mut ring = Ring::default();
        for k in 0..100 {
            let at_s = f64::from(k) + (f64::from(k) * 0.618).fract() * 0.95;
            assert_eq!(ring.push(at_s, read(k)), None);
        }
        let before = ring.happened("undervoltage").unwrap();
        assert_eq!((before.from_s, before.seconds.len()), (40.0, 60));
        assert!(before.seconds.iter().all(|second| second.watts.is_some()), "{before:?}");
    }

    #[test]
    fn what_follows_closely_makes_one_close_up_of_bounded_length() {
        let mut ring = Ring::default();
        push(&mut ring, 0, 100);
        let mut parts: Vec<CloseUp> = ring.happened("undervoltage").into_iter().collect();
        // It flutters every 20 s for ten minutes.
        for k in 0..30 {
            parts.extend(push(&mut ring, 100 + k * 20, 120 + k * 20));
            parts.extend(ring.happened("undervoltage again"));
        }
        parts.extend(push(&mut ring, 700, 900));
        let whole: usize = parts.iter().map(|part| part.seconds.len()).sum();
        for pair in parts.windows(2) {
            let end_s = pair[0].from_s + pair[0].seconds.len() as f64;
            assert!(pair[1].from_s > end_s - 0.1, "no second twice");
        }
        assert_eq!(ends(&parts[1]), (100.0, 339.0), "five minutes with the one before");
        assert!((600..=760).contains(&whole), "{whole} s for ten minutes");
        assert!(parts.iter().all(|part| part.why.chars().count() <= LONGEST_WHY));
    }

    #[test]
    fn the_card_is_spared() {
        let mut ring = Ring::default();
        let mut begun = 0;
        // An event every 150 s for ten hours.
        for k in 0..240 {
            push(&mut ring, k * 150, k * 150 + 150);
            begun += u32::from(ring.happened("mark").is_some());
        }
        assert!(
            (60..=66).contains(&begun),
            "{begun} in ten hours: six an hour, and six to begin with"
        );
    }

    #[test]
    fn holes_stay_holes_and_silence_ends_it() {
        let mut ring = Ring::default();
        push(&mut ring, 0, 50);
        assert_eq!(ring.push(55.0, read(55)), None);
        let part = ring.happened("missed sweeps").unwrap();
        assert_eq!(part.seconds.len(), 56);
        assert_eq!(part.seconds[50..55], [Second::default(); 5]);
        push(&mut ring, 56, 70);
        // The board slept: the close-up ends with what it has, and time that ran back does no harm.
        let last = ring.push(5000.0, read(5000)).unwrap();
        assert_eq!(ends(&last), (56.0, 69.0));
        assert_eq!(ring.push(10.0, read(10)), None);
        assert_eq!(ring.happened("mark").map(|part| part.seconds.len()), Some(1));
        // The daemon ends in the middle of one.
        push(&mut ring, 11, 20);
        assert_eq!(ends(&ring.finish().unwrap()), (11.0, 19.0));
        assert_eq!(ring.finish(), None);
    }

    #[test]
    fn without_a_sensor_there_is_nothing_to_keep() {
        let mut ring = Ring::default();
        for k in 0..300 {
            assert_eq!(ring.push(f64::from(k), Second::default()), None);
            assert!(k % 100 != 0 || ring.happened("mark").is_none());
        }
        assert_eq!(ring.finish(), None);
    }
}
