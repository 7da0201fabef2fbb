//! What must survive a restart.

use alloc::string::String;

use crate::{
    bank::{BankSpec, Start},
    belief::Away,
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

/// What is known of before the restart.
#[derive(Clone, Debug, PartialEq)]
pub struct Resume {
    /// As [`Engine::choices`] gave them.
    pub choices: Choices,
    /// Whether the board has not been switched off since (the boot's identity is the same).
    pub same_boot: bool,
}
