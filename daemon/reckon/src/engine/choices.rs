//! What must survive a restart.

use alloc::string::String;

use crate::{
    bank::{BankSpec, Start},
    belief::{Away, last_end::BeforeStart},
    record::OutingPlan,
    time::{Mono, Wall},
    units::{Joules, Seconds},
};

/// What was chosen and counted so far. Whoever keeps files keeps this.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Choices {
    /// The bank that a person chose and how full it was; `None` while only the settings name one.
    pub bank: Option<(BankSpec, Start)>,
    /// How full the bank was when the outing began, chosen or not, as far as that is settled; means
    /// something in the same boot only.
    pub start: Option<Start>,
    /// The finish.
    pub finish: Option<FinishChoice>,
    /// The plan that the outing was started with.
    pub plan: Option<PlanChoice>,
    /// What is being done.
    pub activity: Option<String>,
    /// Whether a person chose it, so that the rules do not.
    pub activity_tapped: bool,
    /// The outing's name.
    pub outing: Option<String>,
    /// When the outing began; means something in the same boot only.
    pub began: Mono,
    /// Up to when energy was counted; means something in the same boot only.
    pub counted_to: Mono,
    /// Time switched on till then, all the outing's boots together; nought: since `began`.
    pub counted: Seconds,
    /// Energy delivered in this outing so far.
    pub delivered: Joules,
    /// Of it, bridged over gaps.
    pub bridged: Joules,
    /// Of it, counted at the end of a sensor's range.
    pub over_range: Joules,
    /// The supply was away in this outing, and nobody has said whether another bank came; means
    /// something in the same boot only.
    pub away: Option<AwayChoice>,
}

/// An absence of the supply that is still in doubt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AwayChoice {
    /// When.
    pub away: Away,
    /// Energy that the outing had delivered before it came back.
    pub before: Joules,
}

/// A finish as it was given: boot time always, and the calendar's word if it was believed then.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FinishChoice {
    /// Boot time; means something in the same boot only.
    pub at: Mono,
    /// Wall time.
    pub wall: Option<Wall>,
}

/// The plan that the outing was started with: in boot time, and by the calendar if that was believed then.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanChoice {
    /// The plan; when it was started means something in the same boot only.
    pub plan: OutingPlan,
    /// When it was started, wall time.
    pub wall: Option<Wall>,
}

/// What is known of before the restart.
#[derive(Clone, Debug, PartialEq)]
pub struct Resume {
    /// As [`Engine::choices`] gave them.
    pub choices: Choices,
    /// Whether the board has not been switched off since (the boot's identity is the same).
    pub same_boot: bool,
}

impl Resume {
    /// Takes the count of the open outing up to the record's last row, `at` this start in `boot`: what
    /// was chosen is written when it changes only. A count never shrinks.
    pub fn catch_up(&mut self, before: &BeforeStart, boot: &str, at: Mono) {
        let choices = &mut self.choices;
        let chosen = choices.bank.as_ref().map(|(bank, _)| &bank.name);
        let same_bank = |bank: &Option<String>| chosen.is_none() || bank.as_ref() == chosen;
        let Some(outing) = before.outing.as_ref().filter(|outing| same_bank(&outing.bank)) else {
            return;
        };
        choices.delivered = choices.delivered.max(Joules::from_wh(outing.energy_wh));
        choices.bridged = choices.bridged.max(Joules::from_wh(outing.bridged_wh));
        choices.over_range = choices.over_range.max(Joules::from_wh(outing.over_range_wh));
        choices.counted = choices.counted.max(Seconds::of(outing.lasted_s));
        if self.same_boot && before.boot_uuid == boot {
            // The last row may end a few seconds from now: it is cut to whole ones.
            let to = choices.counted_to.max(Mono::at_s(before.last_sign_s));
            choices.counted_to = to.min(at);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belief::last_end::OpenOuting;

    /// The record's last row ends at 620 s, with 5 Wh in the outing; the choices had come to 300 s.
    fn caught_up(bank: &str, boot: &str, same_boot: bool) -> Choices {
        let outing = OpenOuting {
            id: 1,
            bank: Some("Blue ten".into()),
            name: None,
            start_share: None,
            lasted_s: 620.0,
            energy_wh: 5.0,
            bridged_wh: 0.0,
            over_range_wh: 0.0,
            steps: alloc::vec::Vec::new(),
        };
        let before = BeforeStart {
            boot_uuid: "this".into(),
            last_sign_s: 620.0,
            due_s: 60.0,
            stopped: None,
            forecast: None,
            wall_at_boot_ms: None,
            outing: Some(outing),
            earlier_parts: alloc::vec::Vec::new(),
            losses: alloc::vec::Vec::new(),
        };
        let spec = BankSpec { name: bank.into(), ..BankSpec::common()[0].clone() };
        let choices = Choices {
            bank: Some((spec, Start::Full)),
            counted_to: Mono::at_s(300.0),
            counted: Seconds::of(300.0),
            delivered: Joules::from_wh(2.0),
            bridged: Joules::from_wh(0.5),
            over_range: Joules::ZERO,
            ..Choices::default()
        };
        let mut resume = Resume { choices, same_boot };
        resume.catch_up(&before, boot, Mono::at_s(615.0));
        resume.choices
    }

    #[test]
    fn the_record_carries_the_count_further_on_the_same_bank_only() {
        let here = caught_up("Blue ten", "this", true);
        assert_eq!((here.delivered.wh(), here.counted.si()), (5.0, 620.0));
        assert_eq!(here.bridged.wh(), 0.5, "a count never shrinks");
        assert_eq!(here.counted_to, Mono::at_s(615.0), "not beyond this moment");
        let other = caught_up("Long six", "this", true);
        assert_eq!((other.delivered.wh(), other.counted_to), (2.0, Mono::at_s(300.0)));
        for (boot, same_boot) in [("that", true), ("this", false)] {
            let later = caught_up("Blue ten", boot, same_boot);
            assert_eq!((later.delivered.wh(), later.counted_to), (5.0, Mono::at_s(300.0)));
        }
    }
}
