//! The recorder: turns what the event loop sees, second by second, into entries for the record, by
//! comparing each snapshot with the one before. It decides nothing about bank or forecast; what
//! happened at the last end is decided by `reckon::belief` when the first sweep has come.

use std::sync::Arc;

use history::{Change, Trouble, Writer, rows::Aggregator};
use reckon::{
    bank::BankSpec,
    belief::{Answer, Away, Question, Standing},
    engine::{AlarmChange, Edge, Engine, Start},
    forecast::Outlook,
    reading::{Gap, SourceReport, SourceState, Strain},
    record::{
        Channel, ClockFix, ClockFrom, CloseUp, End, Ending, Event, EventKind, ForecastMade,
        LoadLine, OutingPlan, PeriodFold, Sample, Second, SourceChange,
    },
    snapshot::Snapshot,
    time::{Mono, Trust},
    units::{Seconds, Share},
    words,
};

use crate::{host::now_text::plain_spaces, record::close_up::Ring};

/// A forecast goes into the record this often, s.
const FORECAST_EVERY_S: f64 = 600.0;
/// The wall clock is looked at this often, s, besides when it is believed for the first time.
const CLOCK_EVERY_S: f64 = 3600.0;
/// Error bound of the kernel's synchronised clock: what the usual time services keep over
/// a phone's hotspot (common practice, no source).
const SYNCHRONISED_WITHIN_MS: u32 = 500;
/// The wall clock moved by more than this against boot time: it was set.
const STEP_MS: i64 = 1000;
/// In a demonstration the record is waited for this often, s of its own time.
const DEMO_STEP_S: f64 = 600.0;
/// Missed sweeps are told this often at most, s.
const MISSED_EVERY_S: f64 = 60.0;
/// Upper limit of changes of the bank that can be followed back.
const MOST_BEFORE: usize = 8;
/// The first sweep so soon after boot belongs to an outing that began with the boot itself, s.
const BOOTING_S: f64 = 120.0;

/// How the snapshot looked when it was last compared.
#[derive(Debug, Default)]
struct Seen {
    bank: Option<Arc<BankSpec>>,
    outing: Option<String>,
    began: Mono,
    /// When outings began that the present one may turn out to be the rest of.
    began_before: Vec<Mono>,
    goes_on: Option<i64>,
    start: Start,
    /// Whether a person has said how full the bank was at the start.
    level_said: bool,
    /// Whether the supply was seen to be away, and when.
    away: Option<Away>,
    activity: Option<String>,
    finish: Option<Mono>,
    plan: Option<Arc<OutingPlan>>,
    undervoltage_times: u32,
    strain: Strain,
    missed: u64,
    missed_at: Mono,
    sources: Arc<[SourceReport]>,
    trust: Option<Trust>,
    /// Wall time of boot, ms.
    wall_at_boot_ms: Option<i64>,
}

/// Makes entries and gives them to the record.
pub(crate) struct Recorder {
    writer: Arc<Writer>,
    folder: Aggregator,
    ring: Ring,
    seen: Seen,
    begun: bool,
    forecast_at: Option<Mono>,
    /// When this run began to record, and what the load takes as it last stood and as it was kept.
    began: Mono,
    load: Option<LoadLine>,
    load_at: Option<Mono>,
    clock_at: Option<Mono>,
    /// The bound of what a phone told.
    phone_within_ms: u32,
    /// How the outing before ended, should it turn out to be one of its own.
    last_end: Option<End>,
    /// How the outing that ends next is to be closed, where that is known better than 'swapped'.
    close_as: Option<End>,
}

impl Recorder {
    pub(crate) fn new(writer: Arc<Writer>) -> Self {
        Self {
            writer,
            folder: Aggregator::default(),
            ring: Ring::default(),
            seen: Seen::default(),
            begun: false,
            forecast_at: None,
            began: Mono::BOOT,
            load: None,
            load_at: None,
            clock_at: None,
            phone_within_ms: 60_000,
            last_end: None,
            close_as: None,
        }
    }

    /// Whether the last end has been accounted for.
    pub(crate) const fn begun(&self) -> bool {
        self.begun
    }

    /// The account of the last end has been given: `entries` open the outing that this snapshot is
    /// in.
    pub(crate) fn begin(
        &mut self,
        snapshot: &Snapshot,
        start: Start,
        entries: Vec<Change>,
        last_end: Option<End>,
    ) {
        self.begun = true;
        self.began = snapshot.at.mono;
        self.last_end = last_end;
        for entry in entries {
            self.writer.give(entry);
        }
        self.seen.bank.clone_from(&snapshot.bank.spec);
        self.seen.outing.clone_from(&snapshot.outing);
        self.seen.began = snapshot.outing_began;
        self.seen.goes_on = snapshot.goes_on;
        self.seen.start = start;
        // One from before the restart is in the record already.
        self.seen.plan.clone_from(&snapshot.plan);
        self.seen.undervoltage_times = snapshot.undervoltage_times;
        self.seen.missed = snapshot.missed_sweeps;
    }

    /// Which earlier outing this one is the rest of, and when the supply was away, as last seen.
    pub(crate) fn doubted(&self) -> (Option<i64>, Option<Away>) {
        (self.seen.goes_on, self.seen.away)
    }

    /// Takes the snapshot of a sweep.
    pub(crate) fn swept(&mut self, snapshot: &Snapshot, start: Start) {
        self.changes(snapshot, start);
        let sample = Sample::from_snapshot(snapshot);
        let read = |channel: Channel| sample.values[channel.ix()];
        let second = Second { volts: read(Channel::Volts), watts: read(Channel::Watts) };
        let part = self.ring.push(snapshot.at.mono.as_s(), second);
        self.close_up(part);
        if let Some(row) = self.folder.push(&sample) {
            self.writer.give(Change::Row(row));
            self.keep_step(snapshot, row.from_s);
            self.writer.pace(match &snapshot.outlook {
                Outlook::Lasts(forecast) => Some(forecast.cautious().si()),
                _ => None,
            });
        }
        self.happened(snapshot);
        self.sources(snapshot);
        self.clock(snapshot);
        self.forecast(snapshot);
        self.load(snapshot);
        self.supply_away(snapshot);
    }

    /// A demonstration's hours pass faster than a card can write: it waits for the card at times. A
    /// refusal shows with the record's state.
    fn keep_step(&self, snapshot: &Snapshot, row_s: f64) {
        if snapshot.demo.is_some() && row_s.rem_euclid(DEMO_STEP_S) < 10.0 {
            let _ = self.writer.change(Vec::new());
        }
    }

    /// Alarms that came and went.
    pub(crate) fn edges(&mut self, snapshot: &Snapshot, edges: &[Edge]) {
        for edge in edges {
            let kind = match edge.change {
                AlarmChange::Raised | AlarmChange::Changed => EventKind::AlarmRaised,
                AlarmChange::Cleared { .. } => EventKind::AlarmCleared,
            };
            self.event(edge.at, kind, plain_spaces(&words::edge(edge, snapshot)));
        }
    }

    /// Folds that were closed and accessories that were judged: before anything else of the same
    /// moment, since they belong to the outing that was on.
    pub(crate) fn taken_apart(&mut self, engine: &mut Engine) {
        for folded in engine.folds() {
            self.writer.give(Change::Fold(PeriodFold::from_folded(&folded)));
        }
        for one in engine.switched() {
            let said = plain_spaces(&words::fold::switched(&one));
            self.event(one.at, EventKind::Other, said);
        }
    }

    /// What a person did: bank, name, activity. Called after every change as well, so that it is
    /// in the record before whoever asked is answered.
    pub(crate) fn changes(&mut self, snapshot: &Snapshot, start: Start) {
        if !self.begun {
            return;
        }
        let at = snapshot.at.mono;
        if self.seen.began_before.contains(&snapshot.outing_began) {
            self.back_again(snapshot);
        } else if snapshot.outing_began != self.seen.began {
            self.next_outing(snapshot, start);
        }
        if snapshot.goes_on != self.seen.goes_on {
            self.joins_or_parts(snapshot, start);
        }
        let other_bank = snapshot.bank.spec != self.seen.bank;
        if let Some(bank) =
            snapshot.bank.spec.as_ref().filter(|_| other_bank || start != self.seen.start)
        {
            if other_bank {
                self.writer.give(Change::Bank((**bank).clone()));
            }
            let (bank, start_share) = (bank.name.clone(), share_of(start));
            self.writer.give(Change::OutingBank { bank, start_share });
        }
        self.seen.bank.clone_from(&snapshot.bank.spec);
        self.seen.start = start;
        self.level(snapshot);
        if snapshot.outing != self.seen.outing {
            self.seen.outing.clone_from(&snapshot.outing);
            self.writer.give(Change::OutingNamed(snapshot.outing.clone().unwrap_or_default()));
        }
        let activity = snapshot.activities.iter().find(|one| one.current).map(|one| &one.name);
        if activity != self.seen.activity.as_ref() {
            self.seen.activity = activity.cloned();
            self.event(at, EventKind::Activity, activity.cloned().unwrap_or_default());
        }
        // One that has passed stays what this outing was to reach.
        let finish = snapshot.finish.map(|it| it.at).filter(|finish| *finish > at);
        let passed = self.seen.finish.is_some_and(|finish| finish <= at);
        if finish != self.seen.finish && !(finish.is_none() && passed) {
            self.seen.finish = finish;
            self.writer.give(Change::Event(Event::finish_set(at, finish)));
        }
        if let Some(plan) = snapshot.plan.as_ref().filter(|_| snapshot.plan != self.seen.plan) {
            self.writer.give(Change::OutingPlan((**plan).clone()));
        }
        self.seen.plan.clone_from(&snapshot.plan);
    }

    /// What was taken for another outing is the one before after all: its stretches go there.
    fn back_again(&mut self, snapshot: &Snapshot) {
        while let Some(began) = self.seen.began_before.pop() {
            self.writer.give(Change::OutingJoins { earlier: None, off_before_s: Some(0.0) });
            if began == snapshot.outing_began {
                break;
            }
        }
        self.seen.began = snapshot.outing_began;
        self.seen.goes_on = snapshot.goes_on;
    }

    /// The outing goes on from before the board was switched off, or is one of its own after all.
    fn joins_or_parts(&mut self, snapshot: &Snapshot, start: Start) {
        let off_before_s =
            snapshot.bank.since.as_ref().and_then(|since| since.off).map(Seconds::si);
        match (snapshot.goes_on, &self.last_end) {
            (Some(earlier), _) => {
                self.writer.give(Change::OutingJoins { earlier: Some(earlier), off_before_s });
                // What that one may be the rest of is counted in as well, so it is joined as well.
                for _ in 0..snapshot.bank.since.map_or(0, |since| since.older) {
                    self.writer.give(Change::OutingJoins { earlier: None, off_before_s: None });
                }
            }
            (None, Some(end)) => {
                let (start_share, end) = (share_of(start), end.clone());
                self.writer.give(Change::OutingParts { start_share, end });
            }
            (None, None) => {}
        }
        self.seen.goes_on = snapshot.goes_on;
        self.seen.start = start;
        self.seen.outing.clone_from(&snapshot.outing);
    }

    /// Whether somebody has said how full the bank was, so that the next start need not ask.
    fn level(&mut self, snapshot: &Snapshot) {
        let said = snapshot.questions.iter().any(|one| {
            one.standing == Standing::Said
                && match one.question {
                    Question::SinceLast => one.answer != Some(Answer::GoesOn),
                    Question::HowFull => true,
                    _ => false,
                }
        });
        if said != core::mem::replace(&mut self.seen.level_said, said) {
            self.writer.give(Change::OutingSettled { settled: said });
        }
    }

    /// Another bank (or the same one, charged): one outing ends and the next begins.
    fn next_outing(&mut self, snapshot: &Snapshot, start: Start) {
        let at_s = snapshot.outing_began.as_s();
        // The row till now belongs to the outing that ends, and so does what its load took.
        self.keep_load();
        self.load = None;
        if let Some(row) = self.folder.finish() {
            self.writer.give(Change::Row(row));
        }
        // Another bank came while nobody looked: the old one went when the supply did.
        let away = snapshot.bank.away.filter(|away| away.to == snapshot.outing_began);
        let from_s = away.map_or(at_s, |away| away.from.as_s());
        let ending = Ending::Swapped;
        let end = self.close_as.take().unwrap_or(End { from_s, to_s: at_s, ending });
        self.writer.give(Change::OutingEnds { outing: None, end });
        for entry in beginning(snapshot, start, at_s) {
            self.writer.give(entry);
        }
        let before = core::mem::replace(&mut self.seen.began, snapshot.outing_began);
        if self.seen.began_before.len() >= MOST_BEFORE {
            self.seen.began_before.remove(0);
        }
        self.seen.began_before.push(before);
        self.seen.goes_on = snapshot.goes_on;
        self.seen.start = start;
        self.seen.level_said = false;
        self.seen.finish = None;
        self.seen.plan = None;
        self.seen.outing.clone_from(&snapshot.outing);
        self.seen.bank.clone_from(&snapshot.bank.spec);
        self.seen.undervoltage_times = snapshot.undervoltage_times;
        self.seen.strain = snapshot.flags_seen;
    }

    /// The outing that ends next ends like this.
    pub(crate) fn close_as(&mut self, from_s: f64, to_s: f64, ending: Ending) {
        self.close_as = Some(End { from_s, to_s, ending });
    }

    /// The seconds around an absence of the supply are kept.
    fn supply_away(&mut self, snapshot: &Snapshot) {
        let away = snapshot.bank.away;
        if away.is_none() || away == core::mem::replace(&mut self.seen.away, away) {
            return;
        }
        let said = words::journal::SUPPLY_CAME_BACK;
        let part = self.ring.happened(words::journal::ANOTHER_BANK);
        self.close_up(part);
        self.event(snapshot.at.mono, EventKind::Other, said.to_owned());
        tracing::info!("{}", words::journal::page_asks(&said));
    }

    fn happened(&mut self, snapshot: &Snapshot) {
        let at = snapshot.at.mono;
        if snapshot.undervoltage_times > self.seen.undervoltage_times {
            let text = plain_spaces(&words::supply(snapshot));
            self.event(at, EventKind::Undervoltage, text);
        }
        self.seen.undervoltage_times = snapshot.undervoltage_times;
        let news = new_strain(self.seen.strain, snapshot.flags_seen);
        if !news.is_empty() {
            self.event(at, EventKind::Strain, news.join(", "));
        }
        self.seen.strain = snapshot.flags_seen;
        let more = snapshot.missed_sweeps.saturating_sub(self.seen.missed);
        if more > 0 && at.seconds_since(self.seen.missed_at).si() >= MISSED_EVERY_S {
            self.event(at, EventKind::MissedSweeps, words::journal::sweeps_missed(&more));
            (self.seen.missed, self.seen.missed_at) = (snapshot.missed_sweeps, at);
        }
    }

    fn sources(&mut self, snapshot: &Snapshot) {
        if Arc::ptr_eq(&self.seen.sources, &snapshot.sources) {
            return;
        }
        for (ix, now) in snapshot.sources.iter().enumerate() {
            let before = self.seen.sources.get(ix).map(|source| gap_of(source.state));
            let gap = gap_of(now.state);
            if before.as_ref() == Some(&gap) {
                continue;
            }
            let at = match now.state {
                SourceState::Silent { since, .. } => since,
                SourceState::Live | SourceState::LeftAlone => snapshot.at.mono,
            };
            let (id, title) = (now.id.clone(), now.title.clone());
            self.writer.give(Change::Source(SourceChange { at, id, title, gap }));
        }
        self.seen.sources = Arc::clone(&snapshot.sources);
    }

    /// Attaches wall time where it can be believed, and notes when it was set.
    fn clock(&mut self, snapshot: &Snapshot) {
        let (at, trust) = (snapshot.at, snapshot.at.trust);
        let boot_ms = at.wall.of_boot(at.mono).unix_ms();
        let same_teller = self.seen.trust == Some(trust);
        if let Some(before) = self.seen.wall_at_boot_ms.filter(|_| same_teller)
            && before.abs_diff(boot_ms) > STEP_MS.unsigned_abs()
        {
            self.event(at.mono, EventKind::ClockStep, stepped(boot_ms.saturating_sub(before)));
            self.clock_at = None;
        }
        self.seen.wall_at_boot_ms = Some(boot_ms);
        let due =
            self.clock_at.is_none_or(|then| at.mono.seconds_since(then).si() >= CLOCK_EVERY_S);
        if due || !same_teller {
            let within_ms =
                if trust == Trust::Phone { self.phone_within_ms } else { SYNCHRONISED_WITHIN_MS };
            if let Some(row) = ClockFix::from_stamp(&at, within_ms) {
                self.writer.give(Change::Clock(row));
                self.clock_at = Some(at.mono);
            }
        }
        self.seen.trust = Some(trust);
    }

    /// A phone told the time.
    pub(crate) fn phone(&mut self, at: Mono, wall_ms: i64, within_ms: u32) {
        self.phone_within_ms = within_ms;
        self.writer.give(Change::Clock(ClockFix {
            at,
            wall_ms,
            within_ms,
            from: ClockFrom::Phone,
        }));
    }

    fn forecast(&mut self, snapshot: &Snapshot) {
        let Outlook::Lasts(forecast) = &snapshot.outlook else { return };
        let now = snapshot.at.mono;
        if self.forecast_at.is_some_and(|then| now.seconds_since(then).si() < FORECAST_EVERY_S) {
            return;
        }
        self.forecast_at = Some(now);
        self.writer.give(Change::Forecast(ForecastMade {
            at: now,
            remaining_s: forecast.remaining.map(reckon::units::Seconds::si),
            basis: forecast.basis,
            delivered_wh: snapshot.bank.delivered.wh(),
            bridged_wh: snapshot.bank.bridged.wh(),
            usable_wh: snapshot.bank.usable.map(|three| three.map(reckon::units::Joules::wh)),
        }));
    }

    /// What the processor's load takes, as often as a forecast.
    fn load(&mut self, snapshot: &Snapshot) {
        let now = snapshot.at.mono;
        let from = self.began.max(snapshot.outing_began);
        let (from_s, to_s, line) = (from.as_s(), now.as_s(), snapshot.load);
        self.load = Some(LoadLine { from_s, to_s, line });
        if self.load_at.is_none_or(|then| now.seconds_since(then).si() >= FORECAST_EVERY_S) {
            self.load_at = Some(now);
            self.keep_load();
        }
    }

    fn keep_load(&self) {
        if let Some(load) = self.load.filter(|_| self.begun) {
            self.writer.give(Change::LoadLine(load));
        }
    }

    /// A line in the record. What may be seen in volts and watts is kept second by second as well.
    pub(crate) fn event(&mut self, at: Mono, kind: EventKind, text: String) {
        if matches!(
            kind,
            EventKind::Undervoltage
                | EventKind::AlarmRaised
                | EventKind::Mark
                | EventKind::MissedSweeps
        ) {
            let name = kind.name().replace('_', " ");
            let joint = if text.is_empty() { "" } else { ": " };
            let part = self.ring.happened(&format!("{name}{joint}{text}"));
            self.close_up(part);
        }
        self.writer.give(Change::Event(Event { at, kind, text }));
    }

    /// Goes before its event, which may be put on the card at once.
    fn close_up(&self, part: Option<CloseUp>) {
        if let Some(part) = part {
            self.writer.give(Change::CloseUp(part));
        }
    }

    /// A choice in the record; an empty value takes it away.
    pub(crate) fn choose(&mut self, key: &str, value: &str) {
        self.writer.give(Change::Choice { key: key.to_owned(), value: value.to_owned() });
    }

    /// The board is being switched off: everything till now goes on the card, and is waited for.
    /// The mark of a clean end follows when the system ends outlast.
    pub(crate) fn put_down(&mut self, at: Mono) -> Result<(), Trouble> {
        self.end();
        let text = words::journal::SWITCHED_OFF.to_owned();
        self.writer.change(vec![Change::Event(Event { at, kind: EventKind::Other, text })])
    }

    /// The daemon ends: the row till now goes too, and a close-up that goes on.
    pub(crate) fn end(&mut self) {
        self.keep_load();
        let part = self.ring.finish();
        self.close_up(part);
        if let Some(row) = self.folder.finish() {
            self.writer.give(Change::Row(row));
        }
    }
}

/// How full a bank was, as the record has it: 1 is full, nothing is unknown.
pub(crate) fn share_of(start: Start) -> Option<f64> {
    start.middle().map(Share::part)
}

/// The board draws from the moment it is switched on, not from when outlast starts.
pub(crate) fn since_boot_s(at_s: f64) -> f64 {
    if at_s < BOOTING_S { 0.0 } else { at_s }
}

/// The entries that begin an outing.
pub(crate) fn beginning(snapshot: &Snapshot, start: Start, at_s: f64) -> Vec<Change> {
    let bank = snapshot.bank.spec.as_deref();
    let told = bank.map(|bank| Change::Bank(bank.clone()));
    let begins = Change::OutingBegins {
        bank: bank.map(|bank| bank.name.clone()),
        name: snapshot.outing.clone(),
        start_share: if bank.is_some() { share_of(start) } else { None },
        at_s,
    };
    told.into_iter().chain([begins]).collect()
}

/// Why a source is silent. Before its first value it has not fallen silent.
fn gap_of(state: SourceState) -> Option<String> {
    match state {
        SourceState::Silent { gap: Gap::NotReady, .. } => None,
        SourceState::Silent { gap, .. } => Some(words::gap(gap).to_owned()),
        SourceState::Live | SourceState::LeftAlone => None,
    }
}

fn new_strain(before: Strain, now: Strain) -> Vec<&'static str> {
    [
        (before.capped, now.capped, words::journal::CAPPED),
        (before.throttled, now.throttled, words::journal::THROTTLED),
        (before.soft_hot, now.soft_hot, words::journal::HOT),
    ]
    .into_iter()
    .filter_map(|(was, is, say)| (is && !was).then_some(say))
    .collect()
}

fn stepped(by_ms: i64) -> String {
    let way = if by_ms > 0 { "forward" } else { "back" };
    words::journal::wall_clock_set(&way, &(by_ms.unsigned_abs() / 1000))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_clock_is_told_with_its_way() {
        assert_eq!(stepped(315_360_000_000), "the wall clock was set forward by 315360000 s");
        assert_eq!(stepped(-1500), "the wall clock was set back by 1 s");
    }

    #[test]
    fn only_new_strain_is_told() {
        let hot = Strain { soft_hot: true, ..Strain::default() };
        assert_eq!(new_strain(Strain::default(), hot), ["the board is hot"]);
        assert!(new_strain(hot, hot).is_empty());
    }
}
