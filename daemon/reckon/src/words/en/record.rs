//! What is wrong with the record's file or an import, what it means, what to do.

use alloc::string::String;

use crate::units::Seconds;

/// An export that lost its end on the way.
pub fn recording_cut_off(read: Seconds, lasted: Seconds) -> String {
    cut_off_at(&crate::words::span(read), &crate::words::span(lasted))
}

sentences! {
    NONE_YET = "there is no record yet";
    NOTHING_EARLIER = "Earlier outings cannot be shown.";
    WHEN_IT_BEGINS = "It begins once outlast has run for a minute with a card it can write to.";
    NOT_BEGUN = "a new record could not be begun";
    NOTHING_RECORDED = "Nothing is recorded; the forecast goes on.";
    CHECK_CARD = "Check the card; replace it if it reports errors.";
    folder_not_writable(folder) = "the state folder {folder} cannot be written to";
    CHECK_CARD_AND_OWNER = "Check whether the card is full or read-only, and who owns the folder.";
    damaged_by(cause) = "the record's file is damaged ({cause})";
    READ_ONLY = "the record can only be read";
    CHECK_READ_ONLY = "Check whether the card has gone read-only, and who owns the state folder.";
    NOT_A_RECORD = "the file in the record's place is not a record of outlast";
    CUT_OFF = "the record's file is damaged (nothing is left of it but its log)";
    NO_VERSION = "the record's file is damaged (it says nothing of its version)";
    newer(version, newest) = "the record was written by a newer outlast (record version {version}, \
        this one knows {newest}); that outlast can go on with it";
    OTHER_TABLES = "the record's file is damaged (its tables are not those of its version)";
    damaged(cause) = "the record's file is damaged ({cause})";
    no_copy(to) = "the copy {to} could not be made";
    UNTOUCHED = "The record itself is untouched.";
    CHECK_SPACE = "Check the free space and the folder's owner, or choose another place.";
    NAME_TAKEN = "there is a file of that name already";
    NAME_UNREADABLE = "the name is not valid UTF-8";
    time_goes_back(line) = "Line {line} is earlier than the line before it: the clock was set \
        back, and the duration cannot be told from this list.";
    not_times(stamps, others) = "{stamps} lines are time stamps and {others} are not. Each line \
        needs one time stamp, such as 2024-03-09T08:00:00Z, 2024-03-09 08:00:00 or seconds since \
        1970.";
    NO_ROWS = "There is no reading in this recording. Nothing was imported.";
    too_many_rows(most: usize) = "This recording has more than {most} readings. Nothing was \
        imported. Leave some out: one in five minutes is enough.";
    ending_unknown(word) = "The ending in the first row is `{word}`: want died, switched_off, \
        swapped or power_lost. Nothing was imported.";
    NOT_ENDED = "This outing had not ended when it was exported. Nothing was imported. Export it \
        again once it is over, or say how it ended with :died or :stopped after the file's name.";
    cut_off_at(read, lasted) = "This recording ends after {read}, but the outing lasted {lasted}. \
        Nothing was imported. Was the file cut off?";
    TOO_SHORT = "This recording is shorter than ten minutes, which teaches nothing. Nothing was \
        imported.";
    NO_ENERGY = "Nothing in this recording tells what was drawn. Nothing was imported.";
    imported_before(rundown) = "This is run-down {rundown} of this bank already. Nothing was \
        imported. If that one does not count, this brings it back: outlast bank strike {rundown} \
        --undo";
    WAITS = "The forecast goes on; the record waits in memory and is tried again.";
    CARD_FULL = "the card is full";
    FREE_SPACE = "Free some space, or make the record's size limit smaller.";
    CARD_NOT_WRITABLE = "the card or the state folder cannot be written to";
    CHECK_WORN = "Check whether the card has gone read-only; a card that does so is often worn \
        out.";
    CARD_ERROR = "the card reported an error while it was written to";
    REPLACE_CARD = "Copy what matters off this card soon and replace it.";
    IS_DAMAGED = "the record is damaged";
    RESTART_BEGINS_ANEW = "Restart outlast: it sets the damaged file aside and starts a new one.";
    HELD = "another program holds the record";
    CLOSE_THE_OTHER = "Close the program that has the record open; work on a copy instead.";
    NOT_WRITTEN = "the record could not be written";
    SEE_JOURNAL = "See the journal for the cause.";
    NOT_READ = "the record could not be read";
    INCOMPLETE = "What is shown of earlier outings may be incomplete.";
    TRY_AGAIN = "Try again; if it stays so, restart outlast, which checks the file.";
    THREAD_ENDED = "the record's thread has ended";
    NOT_KEPT = "The change was not kept.";
    RESTART = "Restart outlast; the journal says why it ended.";
    NOT_OPEN = "the record is not open";
    at_limit(most_mib, days) = "The record has reached its size limit of {most_mib} MiB: \
        ten-second rows older than {days} days of record were thinned to five minutes.";
    near_limit(mib, most_mib) = "The record uses {mib} of at most {most_mib} MiB. At the limit the \
        oldest ten-second rows are thinned to five minutes; export them before, or raise the \
        limit.";
}
