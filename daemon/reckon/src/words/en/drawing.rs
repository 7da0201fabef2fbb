//! The words on the day line, and what its shapes mean.

sentences! {
    TITLE = "The day line";
    NOW = "now";
    DRAWN = "drawn, peaks";
    SAFE = "safe";
    MAY_END = "may end";
    LIKELY = "likely end";
    EVENT = "event";
}
