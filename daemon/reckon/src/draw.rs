//! What a board draws, where no sensor says.

/// Boards whose vendor publishes figures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum BoardKind {
    /// 1A
    OneA,
    /// 1B
    OneB,
    /// 1A+
    OneAPlus,
    /// 1B+
    OneBPlus,
    /// 2B
    TwoB,
    /// 3B
    ThreeB,
    /// 3A+
    ThreeAPlus,
    /// 3B+
    ThreeBPlus,
    /// 4B
    FourB,
    /// 400
    FourHundred,
    /// 5
    Five,
    /// 500
    FiveHundred,
    /// Zero
    Zero,
    /// Zero W
    ZeroW,
    /// Zero 2 W
    ZeroTwoW,
}
