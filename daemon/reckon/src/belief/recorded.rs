//! What the record says of earlier outings, as the engine believes it: what becomes of the one that
//! was open at a start, how the last one ended, and whether an earlier one goes on by a person's word.

use alloc::vec::Vec;

use super::{
    Carried, SinceLast,
    last_end::{AtStart, BeforeStart, Ended, HowEnded, LastEnd, OpenOuting, at_start, start_of},
};
use crate::{
    bank::BankSpec,
    record::{End, Ending, Outing},
    units::{Joules, Seconds},
};

/// Time within which a plug that slipped is put back, s (common practice, no source).
const SLIPPED_S: f64 = 600.0;

/// What becomes of the outing that was open at a start.
#[derive(Clone, Debug, PartialEq)]
pub struct AfterStart {
    /// It goes on.
    pub goes_on: bool,
    /// That is only believed, and can be taken back.
    pub believed: bool,
    /// What there is to doubt of the time since; `None` where nothing is worth a question.
    pub doubted: Option<SinceLast>,
    /// How it ended, or would have, should it turn out to be one of its own.
    pub end: End,
}

/// Decides that at the first sweep; `None` where no outing was open. `bank` is the one connected now,
/// `tested` the name of the bank that a run-down test was running on.
#[must_use]
pub fn after_start(
    before: &BeforeStart,
    last_end: &LastEnd,
    bank: Option<&BankSpec>,
    tested: Option<&str>,
) -> Option<AfterStart> {
    let open = before.outing.as_ref()?;
    let AtStart { goes_on, since } = at_start(before, last_end);
    // An outing without a bank goes on with the first that is told of.
    let same_bank = open.bank.is_none() || open.bank.as_ref() == bank.map(|it| &it.name);
    let label = bank.map(BankSpec::label_energy);
    let matters = since.as_ref().zip(label).is_some_and(|(since, label)| since.matters(label));
    // A plug that slips again and again takes a little each time. So little is not asked about where
    // the power was back at once: it is counted on. Where nobody knows, it is doubted like more.
    let lost = matches!(last_end.ended, Ended::PowerLost { .. });
    let slipped = lost && last_end.off_s.is_some_and(|off_s| off_s <= SLIPPED_S);
    let doubted = same_bank && (matters || (lost && last_end.off_s.is_none()));
    // Over a boot the open outing goes on by what is believed of it, which can be taken back.
    let newest = since.as_ref().is_some_and(|since| since.outing == Some(open.id));
    Some(AfterStart {
        goes_on: same_bank && (goes_on || (!matters && slipped)),
        believed: newest && doubted,
        doubted: since.filter(|_| doubted),
        end: end_of(open, last_end, same_bank, tested),
    })
}

fn end_of(open: &OpenOuting, last_end: &LastEnd, same_bank: bool, tested: Option<&str>) -> End {
    let ending = match last_end.ended {
        // A bank that was run down on purpose, with switching off disabled.
        Ended::PowerLost { .. } if tested.is_some() && tested == open.bank.as_deref() => {
            Ending::Died
        }
        Ended::PowerLost { died } => Ending::PowerLost { died },
        Ended::DaemonStopped | Ended::DaemonCrashed if !same_bank => Ending::Swapped,
        Ended::DaemonStopped | Ended::DaemonCrashed | Ended::Restarted | Ended::SwitchedOff => {
            Ending::SwitchedOff
        }
    };
    End { from_s: last_end.from_s, to_s: last_end.to_s, ending }
}

impl HowEnded {
    /// Of a closed outing whose power went away; `asked_at` is how likely an empty bank had seemed
    /// before the operator said. What a run-down test showed is not asked.
    #[must_use]
    pub const fn of_outing(outing: &Outing, asked_at: Option<f64>) -> Option<Self> {
        let (died, said) = match (outing.ending, asked_at) {
            (Ending::PowerLost { .. }, Some(died)) => (died, Some(false)),
            (Ending::Died, Some(died)) => (died, Some(true)),
            (Ending::PowerLost { died }, None) => (died, None),
            _ => return None,
        };
        Some(Self { outing: outing.id, died, said })
    }
}

impl SinceLast {
    /// A person says whether the open outing is the rest of the one before it: that counts whatever
    /// was believed. `None` where the two are not of one bank, or the later one is over. What was seen
    /// in the earlier one is left out.
    #[must_use]
    pub fn by_word(before: &Outing, open: &Outing) -> Option<Self> {
        let same_bank = before.bank.is_some() && open.bank == before.bank;
        if open.ending != Ending::Open || !same_bank {
            return None;
        }
        let carried = Carried {
            outing: before.name.clone(),
            start: start_of(before.start_share),
            span: Seconds::of(before.lasted_s),
            delivered: Joules::from_wh(before.energy_wh.unwrap_or(0.0)),
            bridged: Joules::from_wh(before.bridged_wh.unwrap_or(0.0)),
            over_range: Joules::from_wh(before.over_range_wh.unwrap_or(0.0)),
            steps: Vec::new(),
        };
        let off = before.ended.zip(open.began).and_then(|(ended, began)| {
            let off_s = began.unix_ms().checked_sub(ended.unix_ms())? / 1000;
            Some(Seconds::of(f64::from(u32::try_from(off_s).ok()?)))
        });
        Some(Self { outing: Some(before.id), off, by_word: true, ..Self::undated(carried) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        belief::last_end::{Rules, StopHow, ThisStart, judge_last_end},
        time::Wall,
    };
    use alloc::string::String;

    fn blue_ten() -> BankSpec {
        BankSpec { name: "Blue ten".into(), ..BankSpec::common()[0].clone() }
    }

    /// An outing on Blue ten that gave so much of its 37 Wh in five hours.
    fn before(energy_wh: f64, stopped: Option<(f64, StopHow)>) -> BeforeStart {
        BeforeStart {
            boot_uuid: "first".into(),
            last_sign_s: 18_000.0,
            due_s: 60.0,
            stopped,
            forecast: Some((17_800.0, [20_000.0, 25_000.0, 30_000.0])),
            wall_at_boot_ms: Some(0),
            outing: Some(OpenOuting {
                id: 7,
                bank: Some("Blue ten".into()),
                name: None,
                start_share: Some(1.0),
                lasted_s: 18_000.0,
                energy_wh,
                bridged_wh: 0.0,
                over_range_wh: 0.0,
                steps: Vec::new(),
            }),
            earlier_parts: Vec::new(),
            losses: Vec::new(),
        }
    }

    /// The next start, so long after the last sign where that is known.
    fn judged(before: &BeforeStart, boot: &str, off_s: Option<i64>) -> LastEnd {
        let wall_at_boot_ms = off_s.map(|off_s| 18_000_000 + off_s * 1000);
        let this = ThisStart { boot_uuid: boot.into(), at_s: 18_030.0, wall_at_boot_ms };
        judge_last_end(before, &this, &Rules::default())
    }

    fn after(before: &BeforeStart, boot: &str, off_s: Option<i64>) -> AfterStart {
        after_start(before, &judged(before, boot, off_s), Some(&blue_ten()), None).unwrap()
    }

    #[test]
    fn a_restart_of_the_daemon_ends_no_outing() {
        let stopped = before(10.0, Some((18_000.0, StopHow::Stopped)));
        let same = after(&stopped, "first", Some(30));
        assert!(same.goes_on && !same.believed && same.doubted.is_none(), "{same:?}");
        // Another bank was connected meanwhile.
        let other = BankSpec { name: "Long six".into(), ..blue_ten() };
        let last_end = judged(&stopped, "first", Some(30));
        let swapped = after_start(&stopped, &last_end, Some(&other), None).unwrap();
        assert_eq!((swapped.goes_on, swapped.end.ending), (false, Ending::Swapped));
        assert_eq!(swapped.doubted, None);
    }

    #[test]
    fn power_back_after_a_slip_is_asked_about_only_where_much_was_drawn() {
        let little = after(&before(0.2, None), "second", Some(120));
        assert!(little.goes_on && little.doubted.is_none(), "{little:?}");
        let much = after(&before(10.0, None), "second", Some(120));
        assert!(much.doubted.is_some(), "{much:?}");
        // After longer than a plug takes, even a little is no slip; and where nobody knows how long,
        // it is doubted like more.
        assert!(!after(&before(0.2, None), "second", Some(20_000)).goes_on);
        assert!(after(&before(0.2, None), "second", None).doubted.is_some());
    }

    #[test]
    fn a_loss_of_power_is_one_unless_the_bank_was_run_down_on_purpose() {
        let before = before(30.0, None);
        let last_end = judged(&before, "second", Some(30_000));
        let end = |tested| after_start(&before, &last_end, Some(&blue_ten()), tested).unwrap().end;
        assert!(matches!(end(None).ending, Ending::PowerLost { .. }));
        assert!(matches!(end(Some("Long six")).ending, Ending::PowerLost { .. }));
        assert_eq!(end(Some("Blue ten")).ending, Ending::Died);
        assert_eq!((end(None).from_s, end(None).to_s), (18_000.0, 18_062.0));
    }

    #[test]
    fn an_outing_without_a_bank_goes_on_with_the_first_that_is_told_of() {
        let mut nameless = before(1.0, Some((18_000.0, StopHow::Stopped)));
        nameless.outing.as_mut().unwrap().bank = None;
        assert!(after(&nameless, "first", Some(10)).goes_on);
        nameless.outing = None;
        let last_end = judged(&nameless, "first", Some(10));
        assert_eq!(after_start(&nameless, &last_end, Some(&blue_ten()), None), None);
    }

    fn outing(id: i64, ending: Ending) -> Outing {
        Outing {
            id,
            bank: Some("Blue ten".into()),
            start_share: Some(0.5),
            began: Some(Wall::from_unix_ms(id * 10_000_000)),
            ended: Some(Wall::from_unix_ms(id * 10_000_000 + 7_200_000)),
            ending,
            lasted_s: 7200.0,
            energy_wh: Some(6.0),
            ..Outing::default()
        }
    }

    #[test]
    fn only_a_lost_power_is_asked_about() {
        let ended = |ending, asked_at| {
            HowEnded::of_outing(&outing(3, ending), asked_at).map(|how| (how.died, how.said))
        };
        let lost = Ending::PowerLost { died: 0.7 };
        assert_eq!(ended(lost, None), Some((0.7, None)));
        assert_eq!(ended(lost, Some(0.4)), Some((0.4, Some(false))));
        assert_eq!(ended(Ending::Died, Some(0.4)), Some((0.4, Some(true))));
        assert_eq!(ended(Ending::Died, None), None, "a run-down test showed it");
        assert_eq!(ended(Ending::SwitchedOff, Some(0.4)), None);
    }

    #[test]
    fn a_word_joins_two_outings_that_follow_each_other_on_one_bank() {
        let (first, open) = (outing(1, Ending::SwitchedOff), outing(2, Ending::Open));
        let since = SinceLast::by_word(&first, &open).unwrap();
        // 10 000 s from one beginning to the next, 7200 s of them switched on.
        assert_eq!((since.outing, since.off), (Some(1), Some(Seconds::of(2800.0))));
        assert!(since.by_word && (since.carried.delivered.wh() - 6.0).abs() < 1e-9);
        let closed = outing(2, Ending::SwitchedOff);
        assert_eq!(SinceLast::by_word(&first, &closed), None);
        let other = Outing { bank: Some(String::from("Long six")), ..open };
        assert_eq!(SinceLast::by_word(&first, &other), None);
    }
}
