//! The snapshot: everything that may be shown of this moment, all of a piece.

use alloc::{string::String, sync::Arc, vec::Vec};

use super::{
    activities::ActivityLeft,
    shown_forecast::{BLIND_S, wants},
    state::Engine,
    tracked_bank::TrackedBank,
};
use crate::{
    belief::{SinceLast, Story},
    energy_tally,
    forecast::Outlook,
    snapshot::{ActivityView, BankView, Draw, Since, Snapshot},
    time::{Mono, Stamp},
    units::{Joules, Seconds},
};

/// What activities would leave is worked out anew after this many seconds.
const USUAL_S: f64 = 30.0;

fn since(known: &SinceLast) -> Since {
    Since {
        outing: known.outing,
        delivered: known.carried.delivered,
        off: known.off,
        restarted: known.restarted,
        older: known.older,
    }
}

impl Engine {
    /// What the activities would leave, every half minute; says whether it was looked at.
    pub(super) fn look_at_activities(&mut self, now: Mono) -> bool {
        if self.usual_at.is_some_and(|then| now.seconds_since(then).si() < USUAL_S) {
            return false;
        }
        self.usual_at = Some(now);
        let ready = self.on.shown.forecast(now).is_some();
        // As the headline: what warned counts here too.
        let all = self.is_warned();
        let left = |watts: f64, log_sd: f64| {
            self.remaining_at(watts, log_sd).cautious(all).filter(|_| ready)
        };
        let usual = self.on.activities.usual(&self.board, &self.besides);
        self.usual = usual
            .into_iter()
            .map(|(name, usual)| ActivityLeft {
                name: String::from(name),
                usual: usual.map(|usual| usual.watts),
                left: usual.and_then(|usual| left(usual.watts.si(), usual.log_sd)),
            })
            .collect();
        true
    }

    /// The forecast, or why there is none.
    pub(super) fn outlook(&self, now: Mono) -> Outlook {
        if self.drain.stopped() {
            return Outlook::NotDraining;
        }
        let quiet = self.last_sweep.map(|last| (last, now.seconds_since(last).si()));
        let Some(following) = self.leading() else {
            return if self.on.bank.is_some() {
                Outlook::TooSoon { wants: wants(crate::estimator::READINGS_WANTED_S) }
            } else {
                Outlook::NoBank
            };
        };
        if let Some((since, _)) = quiet.filter(|(_, quiet)| *quiet > BLIND_S) {
            return Outlook::Blind { since, last: self.on.shown.last() };
        }
        match self.on.shown.forecast(now) {
            Some(forecast) => Outlook::Lasts(forecast),
            None => Outlook::TooSoon { wants: wants(following.estimator.wants_s().max(1.0)) },
        }
    }

    /// Energy of this outing: as it was measured; where it is modelled, the estimator's count, so that
    /// it fits what that says is left. While it is not known whether the outing before goes on, its
    /// energy is its own.
    pub(super) fn delivered(&self) -> Joules {
        let counted = self.outing_count().meter.delivered;
        let goes_on = self.on.belief.goes_on();
        let since = self.on.belief.since().filter(|_| goes_on);
        let before = since.map_or(Joules::ZERO, |since| since.carried.delivered);
        let of_this =
            |one: &&TrackedBank| goes_on == one.is_of(Story::GoesOn) && !one.is_of(Story::Swapped);
        let modelled =
            self.on.following.iter().find(of_this).filter(|it| !it.estimator.is_measured());
        modelled.map_or(counted + before, |it| Joules::from_wh(it.estimator.delivered_wh()))
    }

    /// By the meter: an estimator that was built anew has been told only means of what was before.
    pub(super) fn bridged(&self) -> Joules {
        self.outing_count().meter.bridged.min(self.delivered())
    }

    /// Counted at the end of a sensor's range, with what the outing had before this boot where it
    /// goes on.
    pub(super) fn over_range(&self) -> Joules {
        let since = self.on.belief.since().filter(|_| self.on.belief.goes_on());
        let before = since.map_or(Joules::ZERO, |since| since.carried.over_range);
        (self.outing_count().meter.over_range + before).min(self.delivered())
    }

    pub(super) fn snapshot(&self, at: Stamp) -> Arc<Snapshot> {
        let now = at.mono;
        let outlook = self.outlook(now);
        let latest = &self.latest;
        let load = self.loads.line();
        let own_draw = load.and_then(|line| {
            let cores = u32::from(self.setup.facts.cores?);
            energy_tally::footprint(&line, self.footprint.cpu_share?, cores)
        });
        Arc::new(Snapshot {
            at,
            station: self.setup.station.clone(),
            outing: self.on.outing.clone(),
            outing_began: self.outing_count().began,
            supply: latest.supply,
            draw: self.draw_view(),
            bank: self.bank_view(now),
            bank_choices: Arc::clone(&self.bank_choices),
            finish: self.finish.map(|finish| self.finish_view(finish, now, &outlook)),
            outlook,
            possibilities: self.on.shown.possibilities(now, self.is_warned()),
            questions: self.questions(now),
            goes_on: self.goes_on(),
            plan: self.started_plan(),
            activities: self.activity_views(now),
            activity_auto: self.by_rules.on(),
            advice: self.advice.clone(),
            alarms: self.alarms.standing(),
            ended_alarms: self.alarms.ended(now),
            power_off: self.power_off.view(),
            board: latest.board,
            undervoltage_times: self.latched_flags.times,
            flags_seen: self.latched_flags.seen,
            facts: Arc::clone(&self.setup.facts),
            supplies: latest.supplies.clone(),
            gauges: latest.gauges.clone(),
            programs: Arc::clone(&latest.programs),
            sources: Arc::clone(&latest.sources),
            draw_history: self.outing_count().draw_history.draw_history(),
            fold: self.folding.latest(),
            load,
            own_draw,
            switched: self.switches.latest(),
            log: self.log.clone(),
            unkept: self.unkept.clone(),
            missed_sweeps: self.missed.saturating_add(self.late_sweeps),
            footprint: self.footprint,
            demo: self.setup.demo,
        })
    }

    fn draw_view(&self) -> Draw {
        let measured = self.outing_count().meter.now().filter(|_| self.latest.draw_now.is_some());
        Draw {
            now: measured.or(self.latest.draw_now),
            lately: self.outing_count().meter.lately(),
            outing: self.outing_count().meter.outing(),
            basis: self.basis(),
        }
    }

    /// Time in this outing: since it began, and before this boot where it goes on from there.
    fn lasted(&self, now: Mono) -> Seconds {
        let here = now.seconds_since(self.outing_count().began);
        here.max(Seconds::of(self.counted_s()))
    }

    fn bank_view(&self, now: Mono) -> BankView {
        let usable = self
            .leading()
            .filter(|following| !following.by_gauge())
            .and_then(|following| following.estimator.usable_wh());
        BankView {
            spec: self.on.bank.clone(),
            start: self.start(),
            changed: self.bank_changed(now),
            away: self.on.belief.away(),
            since: self.on.belief.since().map(since),
            last_ended: self.on.belief.last_ended,
            delivered: self.delivered(),
            bridged: self.bridged(),
            over_range: self.over_range(),
            counted: self.lasted(now),
            usable: usable.map(|points| points.map(Joules::from_wh)),
            learned_from: self.leading().map_or(0, |following| following.learned_from),
        }
    }

    fn activity_views(&self, now: Mono) -> Vec<ActivityView> {
        let gone = self.usual_at.map_or(Seconds::ZERO, |then| now.seconds_since(then));
        self.usual
            .iter()
            .map(|one| ActivityView {
                name: one.name.clone(),
                current: self.on.activities.is_current(&one.name),
                usual: one.usual,
                remaining: one.left.map(|left| left.map(|at| (at - gone).max(Seconds::ZERO))),
            })
            .collect()
    }
}
