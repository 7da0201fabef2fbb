//! Why a figure of the report is not there.

sentences! {
    NOTHING_READ = "no reading";
    NOT_READ = "not read";
    LOAD_TOO_EVEN = "the load changed too little";
    NOTHING_FORETOLD = "the outing is over, or there is no forecast";
    FEW_CONTACTS = "too few contacts";
    GOES_ON = "the outing goes on";
    NOT_EMPTY = "the bank is not known to have been empty";
    LOAD_UNCHANGED = "the load did not change, or was not read";
    NO_CONTACT = "no contact in a log falls within it";
    NOT_KNOWN = "what came is not known";
    NO_PLAN = "it was not started with a plan";
    NO_RUNDOWN = "it is not counted as a run-down";
}
