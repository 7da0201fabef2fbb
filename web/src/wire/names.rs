//! Names outside that forms and JSON have in common.

use reckon::belief::Answer;

/// An answer's name outside.
pub(crate) fn answer_name(answer: Answer) -> String {
    match answer {
        Answer::Level(share) => format!("{}", share.part()),
        named => named.name().unwrap_or_default().to_owned(),
    }
}
