//! Names outside that several documents have in common.

use reckon::{belief::Answer, fold::Kind};

/// An answer's name outside.
pub(crate) fn answer_name(answer: Answer) -> String {
    match answer {
        Answer::Level(share) => format!("{}", share.part()),
        named => named.name().unwrap_or_default().to_owned(),
    }
}

/// What a part of a timed mode's period is called outside.
pub(crate) const fn part_name(kind: Kind) -> &'static str {
    match kind {
        Kind::Receive => "receive",
        Kind::Transmit => "transmit",
        Kind::Decode => "decode",
    }
}
