//! What is worth doing otherwise next time: of all that an outing shows, the one thing that would have
//! helped most. Where its record supports nothing, nothing is advised.

use super::{OutingReport, Report, Truth};
use crate::{
    record::{Event, EventKind, Unread},
    units::{Celsius, Joules, Seconds, Volts, Watts},
};

/// The one thing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Advice {
    /// The bank was empty before the finish.
    Short {
        /// The finish, since the outing began.
        finish: Seconds,
        /// Its mean draw.
        drew: Watts,
        /// The mean draw that would have reached it.
        enough: Watts,
        /// What a bank would have had to give beyond what this one gave.
        more: Joules,
    },
    /// The supply fell too low for the board, and not because the bank was at its end.
    SupplyTooLow {
        /// So often.
        times: usize,
        /// The lowest reading, where it shows it.
        lowest: Option<Volts>,
    },
    /// The processor was so hot that it slowed itself down.
    Hot {
        /// The hottest.
        reached: Celsius,
    },
    /// What the full bank is now known to give, at this outing's draw.
    Learned {
        /// 10 %, 50 %, 90 %, Wh.
        wh: [f64; 3],
        /// The outing's mean draw.
        at: Watts,
    },
    /// It ended with so much still to come: 10 %, 50 %, 90 %.
    Spare([Seconds; 3]),
    /// The sensor was silent.
    Silent(Seconds),
}

/// A finish missed by less, as a share of the outing, is none that a draw could be set by.
const SHORT_SHARE: f64 = 0.02;
/// In the last part of a dying bank's outing the supply falls because of the bank.
const DYING_SHARE: f64 = 0.05;
/// A reading as low shows the fall: USB 2.0 (section 7.2.2) grants 4.75 V at a full port.
const LOW_V: f64 = 4.75;
/// A bank of more than one cell is measured at its own voltage, which tells nothing of the board's.
const HIGH_V: f64 = 5.6;
/// From there the firmware slows the processor (Raspberry Pi documentation, 'Frequency management and
/// thermal control').
const HOT_C: f64 = 80.0;
/// The latest forecast is not older than this at the end, s.
const FRESH_S: f64 = 900.0;
/// Less to spare is no room, s.
const SPARE_S: f64 = 1800.0;
/// A sensor silent for a smaller share of the outing costs the forecast little.
const SILENT_SHARE: f64 = 0.05;

impl OutingReport {
    /// What is worth doing otherwise next time; `None` while it goes on, and where nothing shows.
    #[must_use]
    pub fn advice(&self) -> Option<Advice> {
        if matches!(self.report.forecasts.truth, Truth::Open { .. }) {
            return None;
        }
        self.short()
            .or_else(|| self.supply())
            .or_else(|| self.hot())
            .or_else(|| self.taught())
            .or_else(|| self.spare())
            .or_else(|| self.silent())
    }

    /// The finish that counted at the end, since the outing began: the last one that was set and not
    /// taken back before it came.
    #[must_use]
    pub fn finish(&self) -> Option<Seconds> {
        let mut set = None;
        for event in self.whole.events.iter().filter(|it| it.kind == EventKind::Finish) {
            let at_s = event.at.as_s();
            match event.finish() {
                Some(finish) if finish.as_s() > at_s => set = Some(finish.as_s()),
                Some(_) => {}
                None => set = set.filter(|set| *set <= at_s),
            }
        }
        set.map(Seconds::of)
    }

    /// When it ended, since it began; the middle where an interval is known.
    #[must_use]
    pub fn ended(&self) -> Seconds {
        match self.report.forecasts.truth {
            Truth::Died { at, within } => at + within * 0.5,
            Truth::Open { at } | Truth::AtLeast { at } => at,
        }
    }

    fn mean(&self) -> Option<Watts> {
        let on = self.whole.outing.lasted_s;
        let worth = on >= 60.0 && !self.report.at_least && self.whole.outing.energy_wh.is_some();
        worth.then(|| Watts::of(self.report.all().si() / on)).filter(|mean| mean.si() > 0.0)
    }

    fn short(&self) -> Option<Advice> {
        let (finish, ended) = (self.finish()?, self.ended());
        let died = matches!(self.report.forecasts.truth, Truth::Died { .. });
        let (drew, short) = (self.mean()?, finish - ended);
        let on_s = self.whole.outing.lasted_s;
        (died && short.si() >= (SHORT_SHARE * on_s).max(300.0)).then(|| {
            let wanted = drew * (Seconds::of(on_s) + short);
            Advice::Short {
                finish,
                drew,
                enough: Watts::of(self.report.all().si() / (on_s + short.si())),
                more: wanted - self.report.all(),
            }
        })
    }

    fn supply(&self) -> Option<Advice> {
        let ended_s = self.ended().si();
        let died = matches!(self.report.forecasts.truth, Truth::Died { .. });
        let counts_till_s = if died { ended_s * (1.0 - DYING_SHARE) } else { ended_s + 1.0 };
        let counts =
            |it: &&Event| it.kind == EventKind::Undervoltage && it.at.as_s() < counts_till_s;
        let times = self.whole.events.iter().filter(counts).count();
        let low = self.report.volts.map(|seen| (seen.low, seen.high));
        let lowest = low.filter(|(low, high)| low.si() <= LOW_V && high.si() <= HIGH_V);
        (times > 0).then_some(Advice::SupplyTooLow { times, lowest: lowest.map(|it| it.0) })
    }

    fn hot(&self) -> Option<Advice> {
        let reached = self.report.temp?.high;
        (reached.si() >= HOT_C).then_some(Advice::Hot { reached })
    }

    fn taught(&self) -> Option<Advice> {
        let wh = self.learned?.after_wh;
        let sound = wh.iter().all(|wh| (0.0..1e6).contains(wh));
        sound.then_some(Advice::Learned { wh, at: self.mean()? })
    }

    fn spare(&self) -> Option<Advice> {
        if !matches!(self.report.forecasts.truth, Truth::AtLeast { .. }) {
            return None;
        }
        let latest = self.whole.forecasts.last()?;
        let since_s = self.ended().si() - latest.at.as_s();
        let left = latest.remaining_s.map(|left_s| Seconds::of((left_s - since_s).max(0.0)));
        let fresh = (0.0..FRESH_S).contains(&since_s);
        (fresh && left[0].si() >= SPARE_S).then_some(Advice::Spare(left))
    }

    fn silent(&self) -> Option<Advice> {
        let silent = self.report.silent_s();
        (silent >= (SILENT_SHARE * self.whole.outing.lasted_s).max(600.0))
            .then_some(Advice::Silent(Seconds::of(silent)))
    }
}

impl Report {
    /// Time without a reading although the board ran.
    fn silent_s(&self) -> f64 {
        let parts = self.unread().filter(|(why, _)| *why == Unread::NoReading);
        parts.map(|(_, part)| part.lasted_s).sum()
    }
}

#[cfg(test)]
mod tests;
