//! Around every page.

use crate::words::Frame;

/// Around every page.
pub(super) const FRAME: Frame = Frame {
    skip: "Skip to the content",
    demo: ["Demonstration.", "Everything here is made up, and time runs fast."],
    pages: "Pages",
    places: ["Now", "Outings", "Banks", "Station"],
    may_look: "Anyone on the network can look.",
    pair: "Pair this phone to make changes.",
};
