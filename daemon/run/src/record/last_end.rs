//! What happened at the last end, told to engine and record when the first sweep has come: by then
//! the kernel's word on its clock is known, and with it how long the power was off.

use history::{Change, Reader};
use reckon::{
    bank::BankSpec,
    belief::last_end::{
        AtStart, BeforeStart, Ended, LastEnd, OpenOuting, Rules, ThisStart, at_start,
        judge_last_end,
    },
    engine::Engine,
    record::{End, Ending},
    snapshot::Snapshot,
    time::{Mono, Stamp},
    units::Seconds,
    words,
};

use crate::record::{
    recorder::{beginning, share_of},
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
    fn account(&self, before: &BeforeStart, at: Stamp) -> LastEnd {
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
        self.account(before, at).off_s.map(Seconds::of)
    }
}

/// Time within which a plug that slipped is put back, s (common practice, no source).
const SLIPPED_S: f64 = 600.0;

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
    let open = start.before.as_ref().and_then(|before| Some((before, before.outing.as_ref()?)));
    let at_s = snapshot.outing_began.as_s();
    let Some((before, outing)) = open else {
        let entries = beginning(snapshot, engine.start(), at_s);
        return Decided { entries, goes_on: false, end: None, say: None };
    };
    let account = start.account(before, snapshot.at);
    let AtStart { goes_on, since } = at_start(before, &account);
    let bank = snapshot.bank.spec.as_deref();
    // An outing without a bank goes on with the first that is told of.
    let same_bank = outing.bank.is_none() || outing.bank.as_ref() == bank.map(|it| &it.name);
    let end = end_of(start, outing, &account, same_bank);
    let mut entries = better_known(outing, &account);
    let label = bank.map(BankSpec::label_energy);
    let matters = since.as_ref().zip(label).is_some_and(|(since, label)| since.matters(label));
    // A plug that slips again and again takes a little each time. So little is not asked about where
    // the power was back at once: it is counted on. Where nobody knows, it is doubted like more.
    let lost = matches!(account.ended, Ended::PowerLost { .. });
    let slipped = lost && account.off_s.is_some_and(|off_s| off_s <= SLIPPED_S);
    let goes_on = goes_on || (same_bank && !matters && slipped);
    let doubted = same_bank && (matters || (lost && account.off_s.is_none()));
    if goes_on && same_bank {
        // Over a boot the open outing goes on by what is believed of it, which can be taken back.
        let newest = since.as_ref().is_some_and(|since| since.outing == Some(outing.id));
        entries.extend(go_on(start, engine, snapshot, outing, &account, newest && doubted));
    }
    engine.note_since(since.filter(|_| doubted));
    if goes_on && same_bank {
        return Decided { entries, goes_on: true, end: Some(end), say: None };
    }
    entries.push(Change::OutingEnds { outing: Some(outing.id), end: end.clone() });
    entries.extend(beginning(snapshot, engine.start(), at_s));
    let say = Some(said(&account, start.test.is_some()));
    Decided { entries, goes_on: false, end: Some(end), say }
}

/// What this end says of earlier ones, and of how full the bank had been.
fn better_known(outing: &OpenOuting, account: &LastEnd) -> Vec<Change> {
    let revised = account.revised.map(|(outing, died)| Change::EndingChance { outing, died });
    let full = account
        .began_full
        .then_some(Change::OutingStart { outing: outing.id, start_share: Some(1.0) });
    revised.into_iter().chain(full).collect()
}

fn go_on(
    start: &Start,
    engine: &mut Engine,
    snapshot: &Snapshot,
    outing: &OpenOuting,
    account: &LastEnd,
    believed: bool,
) -> Vec<Change> {
    let same_boot = account.is_same_boot();
    // In one boot the board was on, and fed, through the time in which nobody looked.
    let at_s = if same_boot { account.from_s } else { start.at.as_s() };
    let mut entries = vec![Change::OutingGoesOn {
        outing: outing.id,
        at_s,
        off_before_s: if same_boot { Some(0.0) } else { account.off_s },
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

fn end_of(start: &Start, outing: &OpenOuting, account: &LastEnd, same_bank: bool) -> End {
    let tested = start.test.as_ref() == outing.bank.as_ref() && start.test.is_some();
    let ending = match account.ended {
        // A bank that was run down on purpose, with switching off disabled.
        Ended::PowerLost { .. } if tested => Ending::Died,
        Ended::PowerLost { died } => Ending::PowerLost { died },
        Ended::DaemonStopped | Ended::DaemonCrashed if !same_bank => Ending::Swapped,
        Ended::DaemonStopped | Ended::DaemonCrashed | Ended::Restarted | Ended::SwitchedOff => {
            Ending::SwitchedOff
        }
    };
    End { from_s: account.from_s, to_s: account.to_s, ending }
}

fn said(account: &LastEnd, tested: bool) -> String {
    match account.ended {
        Ended::PowerLost { .. } if tested => words::journal::TEST_CLOSED.to_owned(),
        Ended::PowerLost { died } => words::journal::power_lost(died * 100.0),
        Ended::DaemonStopped | Ended::DaemonCrashed | Ended::Restarted | Ended::SwitchedOff => {
            words::journal::ENDED_WELL.to_owned()
        }
    }
}
