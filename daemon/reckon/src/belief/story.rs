//! The ways in which things may stand.

/// Below this weight a story is left out of what is shown.
pub const PLAUSIBLE: f64 = 0.05;

/// From this weight on a story is taken for what happened, until somebody says otherwise.
pub const SURE: f64 = 0.9;

/// One way in which things may stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Story {
    /// As told, or as taken at the very first start.
    Told,
    /// The same bank as in the outing before, not charged since.
    GoesOn,
    /// The same bank, charged full since.
    Charged,
    /// Charged in part since, or another bank: nobody knows how full.
    AnyLevel,
    /// Another bank since the supply was away in the middle of this outing.
    Swapped,
    /// As full as a person has said.
    Said,
}

impl Story {
    /// Every story.
    pub const ALL: [Self; 6] =
        [Self::Told, Self::GoesOn, Self::Charged, Self::AnyLevel, Self::Swapped, Self::Said];

    /// Its name outside.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Told => "as-told",
            Self::GoesOn => "goes-on",
            Self::Charged => "charged",
            Self::AnyLevel => "any-level",
            Self::Swapped => "another-bank",
            Self::Said => "as-said",
        }
    }
}
