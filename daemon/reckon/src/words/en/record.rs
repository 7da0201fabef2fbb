//! What is wrong with the record's file, what it means, what to do.

#![expect(missing_docs, reason = "each text says what it is for")]

use alloc::{format, string::String};
use core::fmt::Display;

pub const NONE_YET: &str = "there is no record yet";
pub const NOTHING_EARLIER: &str = "Earlier outings cannot be shown.";
pub const WHEN_IT_BEGINS: &str =
    "It begins once outlast has run for a minute with a card it can write to.";
pub const NOT_BEGUN: &str = "a new record could not be begun";
pub const NOTHING_RECORDED: &str = "Nothing is recorded; the forecast goes on.";
pub const CHECK_CARD: &str = "Check the card; replace it if it reports errors.";

pub fn folder_not_writable(folder: &dyn Display) -> String {
    format!("the state folder {folder} cannot be written to")
}
pub const CHECK_CARD_AND_OWNER: &str =
    "Check whether the card is full or read-only, and who owns the folder.";

pub fn damaged_by(cause: &dyn Display) -> String {
    format!("the record's file is damaged ({cause})")
}
pub const READ_ONLY: &str = "the record can only be read";
pub const CHECK_READ_ONLY: &str =
    "Check whether the card has gone read-only, and who owns the state folder.";
pub const NOT_A_RECORD: &str = "the file in the record's place is not a record of outlast";
pub const NO_VERSION: &str = "the record's file is damaged (it says nothing of its version)";

pub fn newer(version: &dyn Display, newest: &dyn Display) -> String {
    format!(
        "the record was written by a newer outlast (record version {version}, this one knows \
        {newest}); that outlast can go on with it"
    )
}
pub const OTHER_TABLES: &str =
    "the record's file is damaged (its tables are not those of its version)";

pub fn damaged(trim: &dyn Display) -> String {
    format!("the record's file is damaged ({trim})")
}

pub fn no_copy(to: &dyn Display) -> String {
    format!("the copy {to} could not be made")
}
pub const UNTOUCHED: &str = "The record itself is untouched.";
pub const CHECK_SPACE: &str =
    "Check the free space and the folder's owner, or choose another place.";
pub const NAME_TAKEN: &str = "there is a file of that name already";
pub const NAME_UNREADABLE: &str = "the name is not valid UTF-8";

pub fn time_goes_back(k: &dyn Display) -> String {
    format!(
        "Line {k} is earlier than the line before it: the clock was set back, and the \
        duration cannot be told from this list."
    )
}

pub fn not_times(at_s: &dyn Display, bad: &dyn Display) -> String {
    format!(
        "{at_s} lines are time stamps and {bad} are not. Each line needs one time stamp, such \
        as 2024-03-09T08:00:00Z, 2024-03-09 08:00:00 or seconds since 1970."
    )
}
pub const WAITS: &str = "The forecast goes on; the record waits in memory and is tried again.";
pub const CARD_FULL: &str = "the card is full";
pub const FREE_SPACE: &str = "Free some space, or make the record's size limit smaller.";
pub const CARD_NOT_WRITABLE: &str = "the card or the state folder cannot be written to";
pub const CHECK_WORN: &str =
    "Check whether the card has gone read-only; a card that does so is often worn out.";
pub const CARD_ERROR: &str = "the card reported an error while it was written to";
pub const REPLACE_CARD: &str = "Copy what matters off this card soon and replace it.";
pub const IS_DAMAGED: &str = "the record is damaged";
pub const RESTART_BEGINS_ANEW: &str =
    "Restart outlast: it sets the damaged file aside and starts a new one.";
pub const HELD: &str = "another program holds the record";
pub const CLOSE_THE_OTHER: &str =
    "Close the program that has the record open; work on a copy instead.";
pub const NOT_WRITTEN: &str = "the record could not be written";
pub const SEE_JOURNAL: &str = "See the journal for the cause.";
pub const NOT_READ: &str = "the record could not be read";
pub const INCOMPLETE: &str = "What is shown of earlier outings may be incomplete.";
pub const TRY_AGAIN: &str = "Try again; if it stays so, restart outlast, which checks the file.";
pub const THREAD_ENDED: &str = "the record's thread has ended";
pub const NOT_KEPT: &str = "The change was not kept.";
pub const RESTART: &str = "Restart outlast; the journal says why it ended.";
pub const NOT_OPEN: &str = "the record is not open";

pub fn at_limit(most_mib: &dyn Display, max: &dyn Display) -> String {
    format!(
        "The record has reached its size limit of {most_mib} MiB: ten-second rows older than \
        {max} days of record were thinned to five minutes."
    )
}

pub fn near_limit(mib: &dyn Display, most_mib: &dyn Display) -> String {
    format!(
        "The record uses {mib} of at most {most_mib} MiB. At the limit the oldest ten-second \
        rows are thinned to five minutes; export them before, or raise the limit."
    )
}
