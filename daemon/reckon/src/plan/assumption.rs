//! What a plan took for granted because nobody said otherwise.

use alloc::string::String;

/// One thing that was taken for granted; [`crate::words::plan::assumption`] says it.
#[derive(Clone, Debug, PartialEq)]
pub enum Assumption {
    /// The bank begins full.
    Full,
    /// A lead-acid battery is used until it cuts out.
    ToTheEnd,
    /// It is about 15 °C.
    Temperate,
    /// Nobody said which board: a middling one.
    SomeBoard,
    /// The radio draws what the middle of its class does.
    RadioOfClass,
    /// Noon is three hours after the start.
    NoonSoon,
    /// Between a fifth of the sky and all of it is cloudy.
    AnySky,
    /// The processor is busy for a seventh of the time.
    SomewhatBusy,
    /// An activity that was never recorded here draws what is usual of it.
    UsualActivity(String),
    /// An activity draws what it drew on another bank: this one.
    DrawnElsewhere(String, String),
}
