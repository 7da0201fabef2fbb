//! What happened at the last end, told to engine and record when the first sweep has come: by then
//! the kernel's word on its clock is known, and with it how long the power was off.

use history::{
    End, Ending, Entry,
    outings::{Account, Before, Ended, OpenOuting, Rules, ThisStart, account},
};
use reckon::{
    engine::{Carried, Engine},
    snapshot::Snapshot,
    time::Mono,
    units::{Joules, Seconds},
};

use crate::{
    credit::start_of,
    record::{beginning, millis},
};

/// What the decisions go by, besides the record.
pub(crate) struct Start {
    /// What the record says about the end before; `None` in a new record.
    pub(crate) before: Option<Before>,
    /// This boot.
    pub(crate) boot: String,
    /// When the daemon started.
    pub(crate) at: Mono,
    /// The engine goes on by itself, from what was chosen in this same boot.
    pub(crate) resumed: bool,
    /// The name of the bank that a run-down test was running on.
    pub(crate) test: Option<String>,
}

/// What came of it.
pub(crate) struct Decided {
    /// For the record.
    pub(crate) entries: Vec<Entry>,
    /// The outing that was open goes on, and with it a run-down test.
    pub(crate) goes_on: bool,
    /// For the journal.
    pub(crate) say: Option<String>,
}

/// Decides, and lets the engine carry on where the outing goes on.
pub(crate) fn decide(start: &Start, engine: &mut Engine, shot: &Snapshot) -> Decided {
    let open = start.before.as_ref().and_then(|before| Some((before, before.outing.as_ref()?)));
    let at_s = shot.outing_began.as_s();
    let Some((before, outing)) = open else {
        let entries = beginning(shot, engine.start(), at_s);
        return Decided { entries, goes_on: false, say: None };
    };
    let this = ThisStart {
        boot_uuid: start.boot.clone(),
        at_s: shot.at.mono.as_s(),
        wall_at_boot_ms: shot
            .at
            .believed()
            .map(|wall| wall.unix_ms().saturating_sub(millis(shot.at.mono))),
    };
    let account = account(before, &this, &Rules::default());
    let bank = shot.bank.spec.as_ref().map(|bank| &bank.name);
    // An outing without a bank goes on with the first that is told of.
    let same_bank = outing.bank.is_none() || outing.bank.as_ref() == bank;
    if account.goes_on && same_bank {
        go_on(start, engine, shot, outing, &account, before.boot_uuid == start.boot)
    } else {
        let mut entries = vec![ended(start, outing, &account, same_bank)];
        entries.extend(beginning(shot, engine.start(), at_s));
        Decided { entries, goes_on: false, say: Some(said(&account, start.test.is_some())) }
    }
}

fn go_on(
    start: &Start,
    engine: &mut Engine,
    shot: &Snapshot,
    outing: &OpenOuting,
    account: &Account,
    same_boot: bool,
) -> Decided {
    // In one boot the board was on, and fed, through the time in which nobody looked.
    let at_s = if same_boot { account.from_s } else { start.at.as_s() };
    let mut entries = vec![Entry::OutingGoesOn {
        outing: outing.id,
        at_s,
        off_before_s: if same_boot { Some(0.0) } else { account.off_s },
    }];
    if outing.bank.is_none()
        && let Some(bank) = &shot.bank.spec
    {
        entries.push(Entry::Bank((**bank).clone()));
        let start_share = crate::credit::share_of(engine.start());
        entries.push(Entry::OutingBank { bank: bank.name.clone(), start_share });
    }
    if !start.resumed {
        engine.carry_on(Carried {
            outing: outing.name.clone(),
            start: start_of(outing.start_share),
            span: Seconds::of(outing.lasted_s),
            delivered: Joules::from_wh(outing.energy_wh),
            bridged: Joules::from_wh(outing.bridged_wh),
        });
    }
    Decided { entries, goes_on: true, say: None }
}

fn ended(start: &Start, outing: &OpenOuting, account: &Account, same_bank: bool) -> Entry {
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
    let (from_s, to_s) = (account.from_s, account.to_s);
    let end = End { from_s, to_s, ending };
    Entry::OutingEnds { outing: Some(outing.id), end }
}

fn said(account: &Account, tested: bool) -> String {
    match account.ended {
        Ended::PowerLost { .. } if tested => {
            "the bank was run down; the test is closed and credited".to_owned()
        }
        Ended::PowerLost { died } => format!(
            "the power went away without a word ({:.0} % likely a dead bank); the page asks which",
            died * 100.0
        ),
        Ended::DaemonStopped | Ended::DaemonCrashed | Ended::Restarted | Ended::SwitchedOff => {
            "the last outing ended in good order".to_owned()
        }
    }
}
