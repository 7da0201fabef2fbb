//! Lines for the journal.

sentences! {
    PROGRAMS_SAVE = "the board is switching off: programs are saving";
    not_synced(why) = "the card could not be synced before switching off: {why}";
    answers_again(title, span) = "{title} answers again after {span}";
    RECORD_GOES_ON = "the record goes on";
    RECORD_PUT_BACK = "the record's file was taken away while outlast ran; it was written to its \
        place again";
    entries_lost(missed) = "{missed} entries of the record were lost";
    record_set_aside(why, path) = "{why}; it was set aside as {path}";
    CLOCK_SET = "the board's clock was set from the phone";
    test_runs(bank) = "a run-down test of {bank} is running";
    record_not_closed(why) = "the record could not be closed before switching off: {why}";
    sensors_back(silent_s) = "the sensors are read again after {silent_s} s";
    OTHERS_GO_ON = "the others are still read";
    FORECAST_GOES_ON = "the forecast goes on from what was known";
    sensors_hang(silent_s, what_now) = "no sensor has answered for {silent_s} s, one of them \
        hangs; {what_now}";
    CHOICES_KEPT = "your choices are kept again";
    NO_HOME = "There is no home folder to keep anything in";
    no_folder(folder, why) = "The state folder {folder} cannot be made: {why}";
    no_connection(why) = "a connection could not be accepted: {why}";
    SEAT_NEEDED = "a connection was closed to make room for another";
    PAGES_CUT_OFF = "some pages were still being read and were cut off";
    set_aside(path, aside) = "{path} is damaged and was set aside as {aside}";
    stuck(path) = "{path} is damaged and cannot be moved out of the way";
    keys_unreadable(path, why) = "{path} cannot be read: {why}; phones have to pair again";
    keys_unwritable(path, why) = "{path} cannot be written: {why}; phones have to pair again after \
        a restart";
    keys_damaged(path) = "{path} was damaged; every phone has to pair again";
    no_randomness(why) = "no random numbers are available ({why}); a code that can be guessed \
        would be worse than none";
    systemd_untold(why) = "systemd cannot be told how things stand: {why}";
    load_small(why) = "the test's load is smaller than meant: {why}";
    load_urgent(why) = "the test's load cannot be given the lowest priority: {why}";
    broke_down(name, reason) = "the {name} failed ({reason}); outlast ends here so that it can be \
        restarted";
    NO_REASON = "no reason given";
    choices_unreadable(path, why) = "The earlier choices cannot be read ({path}: {why}); outlast \
        starts without them";
    choose_again(set_aside) = "{set_aside}; choose the bank and the finish again";
    TEST_CLOSED = "the bank was run down; the test is closed and counted";
    power_lost(died: f64) = "the power was lost without notice ({died:.0} % likely an empty bank); \
        the page asks what happened";
    ENDED_WELL = "the last outing ended in good order";
    no_record_thread(why) = "outlast could not start the record's thread: {why}.";
    SUPPLY_CAME_BACK = "the supply was gone and came back while the board ran on: perhaps another \
        bank";
    ANOTHER_BANK = "another bank, perhaps";
    page_asks(said) = "{said}; the page asks";
    sweeps_missed(more) = "{more} sweeps came too late or not at all";
    SWITCHED_OFF = "The bank is nearly empty; the board is switched off.";
    CAPPED = "the processor's clock is capped";
    THROTTLED = "the processor is throttled";
    HOT = "the board is hot";
    wall_clock_set(way, seconds) = "the wall clock was set {way} by {seconds} s";
    choices_not_kept(folder, why) = "Your choices cannot be kept in {folder}: {why}. Readings and \
        forecast go on, but a restart will not know the bank and the finish. Free some space on \
        the card or make the folder writable";
    TOLD_TO_STOP = "told to stop";
    no_socket(path, why) = "`outlast now` and `outlast pin` will not work: {path} cannot be made \
        ({why})";
    not_recorded(why) = "{why} Nothing is recorded";
    end_not_marked(trouble) = "{trouble} The next start will take this end for a loss of power";
    old_request(why) = "an old request to switch off cannot be removed: {why}";
    WRONG_CODE = "wrong pairing codes were typed; from there the next try is possible after a wait";
    WINDOW_OPEN = "a phone can be paired with the code that was shown";
    WINDOW_CLOSED = "a million wrong pairing codes: the code is not good any more; `outlast pin` \
        shows a new one";
    PAIRED = "a phone was paired; `outlast phone list` shows all of them";
    TICKET_ENDED = "the pairing of a phone was ended";
    TICKETS_ENDED = "the pairing of all phones was ended";
}
