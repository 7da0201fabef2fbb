//! Around every page.

use reckon::words::{ENGLISH, Frame};

use super::fixed;

pub(super) fn frame() -> Frame {
    let english = ENGLISH.frame;
    Frame {
        skip: fixed(english.skip),
        demo: english.demo.map(fixed),
        pages: fixed(english.pages),
        places: english.places.map(fixed),
        may_look: fixed(english.may_look),
        pair: fixed(english.pair),
    }
}
