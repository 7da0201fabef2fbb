//! What happened at the last end, told to engine and record when the first sweep has come: by then
//! the kernel's word on its clock is known, and with it how long the power was off.

use history::{Change, Reader};
use reckon::{
    belief::{
        AfterStart, after_start,
        last_end::{BeforeStart, Ended, LastEnd, OpenOuting, Rules, ThisStart, judge_last_end},
    },
    engine::Engine,
    record::End,
    snapshot::Snapshot,
    time::{Mono, Stamp},
    units::Seconds,
    words,
};

use crate::record::{
    recorder::{beginning, share_of, since_boot_s},
    run_downs::steps,
};

/// What the decisions go by, besides the record.
pub(crate) struct Start {
    /// What the record says about the end before; `None` in a new record.
    pub(crate) before: Option<BeforeStart>,
    /// This boot.
    pub(crate) boot: String,
    /// When the daemon started.
    pub(crate) at: Mono,
    /// The engine goes on by itself, from what was chosen in this same boot.
    pub(crate) resumed: bool,
    /// The name of the bank that a run-down test was running on.
    pub(crate) test: Option<String>,
}

impl Start {
    /// Reads what was seen in the outings that may go on. Left till the first sweep: of a long day it
    /// takes longer than a page may wait for.
    pub(crate) fn recall(&mut self, reader: &Reader) {
        self.each_doubted(|outing| outing.steps = steps(reader, outing.id));
    }

    /// Lets go of it, once it was told.
    pub(crate) fn forget(&mut self) {
        self.each_doubted(|outing| outing.steps = Vec::new());
    }

    fn each_doubted(&mut self, change: impl FnMut(&mut OpenOuting)) {
        let Some(before) = &mut self.before else { return };
        let doubted = before.earlier_parts.iter_mut().map(|one| &mut one.outing);
        before.outing.iter_mut().chain(doubted).for_each(change);
    }

    /// What the record says of the last end, as things look at this moment.
    fn last_end(&self, before: &BeforeStart, at: Stamp) -> LastEnd {
        let wall_at_boot_ms = at.believed().map(|wall| wall.of_boot(at.mono).unix_ms());
        let at_s = at.mono.as_s();
        let this = ThisStart { boot_uuid: self.boot.clone(), at_s, wall_at_boot_ms };
        judge_last_end(before, &this, &Rules::default())
    }

    /// How long the power was off between this outing, if it was the open one, and this boot, as soon
    /// as both ends can be dated.
    pub(crate) fn off(&self, outing: Option<i64>, at: Stamp) -> Option<Seconds> {
        at.believed()?;
        let before = self.before.as_ref().filter(|before| before.boot_uuid != self.boot)?;
        let open = before.outing.as_ref().map(|open| open.id);
        if open.is_none() || open != outing {
            return None;
        }
        self.last_end(before, at).off_s.map(Seconds::of)
    }
}

/// What came of it.
pub(crate) struct Decided {
    /// For the record.
    pub(crate) entries: Vec<Change>,
    /// The outing that was open goes on, and with it a run-down test.
    pub(crate) goes_on: bool,
    /// How the outing before ended, if it should turn out to be one of its own.
    pub(crate) end: Option<End>,
    /// For the journal.
    pub(crate) say: Option<String>,
}

/// Decides, and lets the engine carry on where the outing goes on.
pub(crate) fn decide(start: &Start, engine: &mut Engine, snapshot: &Snapshot) -> Decided {
    let (bank, test) = (snapshot.bank.spec.as_deref(), start.test.as_deref());
    let found = start.before.as_ref().and_then(|before| {
        let last_end = start.last_end(before, snapshot.at);
        let after = after_start(before, &last_end, bank, test)?;
        Some((before.outing.as_ref()?, last_end, after))
    });
    let at_s = since_boot_s(snapshot.outing_began.as_s());
    let Some((outing, last_end, after)) = found else {
        let entries = beginning(snapshot, engine.start(), at_s);
        return Decided { entries, goes_on: false, end: None, say: None };
    };
    let AfterStart { goes_on, believed, doubted, end } = after;
    let mut entries = better_known(outing, &last_end);
    if goes_on {
        entries.extend(go_on(start, engine, snapshot, outing, &last_end, believed));
    }
    engine.note_since(doubted);
    let say = (!goes_on).then(|| said(&last_end, test.is_some()));
    if !goes_on {
        entries.push(Change::OutingEnds { outing: Some(outing.id), end: end.clone() });
        entries.extend(beginning(snapshot, engine.start(), at_s));
    }
    Decided { entries, goes_on, end: Some(end), say }
}

/// What this end says of earlier ones, and of how full the bank had been.
fn better_known(outing: &OpenOuting, last_end: &LastEnd) -> Vec<Change> {
    let revised = last_end.revised.map(|(outing, died)| Change::EndingChance { outing, died });
    let full = last_end
        .began_full
        .then_some(Change::OutingStart { outing: outing.id, start_share: Some(1.0) });
    revised.into_iter().chain(full).collect()
}

fn go_on(
    start: &Start,
    engine: &mut Engine,
    snapshot: &Snapshot,
    outing: &OpenOuting,
    last_end: &LastEnd,
    believed: bool,
) -> Vec<Change> {
    let same_boot = last_end.is_same_boot();
    // In one boot the board was on, and fed, through the time in which nobody looked.
    let at_s = if same_boot { last_end.from_s } else { since_boot_s(start.at.as_s()) };
    let mut entries = vec![Change::OutingGoesOn {
        outing: outing.id,
        at_s,
        off_before_s: if same_boot { Some(0.0) } else { last_end.off_s },
    }];
    if outing.bank.is_none()
        && let Some(bank) = &snapshot.bank.spec
    {
        entries.push(Change::Bank((**bank).clone()));
        let start_share = share_of(engine.start());
        entries.push(Change::OutingBank { bank: bank.name.clone(), start_share });
    }
    match (start.resumed, believed) {
        (true, _) => engine.recall_steps(&outing.steps),
        (false, false) => engine.carry_on(&outing.carried()),
        (false, true) => {}
    }
    entries
}

fn said(last_end: &LastEnd, tested: bool) -> String {
    match last_end.ended {
        Ended::PowerLost { .. } if tested => words::journal::TEST_CLOSED.to_owned(),
        Ended::PowerLost { died } => words::journal::power_lost(died * 100.0),
        Ended::DaemonStopped | Ended::DaemonCrashed | Ended::Restarted | Ended::SwitchedOff => {
            words::journal::ENDED_WELL.to_owned()
        }
    }
}
