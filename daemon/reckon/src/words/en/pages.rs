//! What stands on the pages at any moment, a table for each.

use super::{
    contact_log::{complaint, contacts_in, log_read, placed, take_out, undated},
    outing::outing_name,
};
use alloc::{format, string::String};

use crate::{
    adif::{Complaint, Log},
    snapshot::DemoPart,
    units::Seconds,
    words::Local,
};

language! {
    ENGLISH = "en";

    /// Around every page.
    frame: Frame {
        /// For a keyboard: past the navigation.
        skip = "Skip to the content";
        demo = ["Demonstration", "Everything here is made up, and time runs fast."];
        demo_part(part: DemoPart) = demo_part;
        demo_asks = ["Pause", "Go on", "Next"];
        /// While the demonstration's board is off.
        demo_empty = ["The bank ran empty", "The board lost its power. A real one now shows \
            nothing, and a page that was open says when it was last heard. It goes on with the next \
            morning, which comes by itself: Now asks about the bank, and Outings has the report."];
        /// What the navigation is, for a screen reader.
        pages = "Pages";
        places = ["Now", "Plan", "Outings", "Banks", "Station"];
        may_look = "Look only: a tap asks for the code.";
        pair = "Pair";
        /// At the foot of every page in the night look, the second and fourth where there is no further step.
        dimmer = "Dimmer";
        dimmest = "Dimmest";
        brighter = "Brighter";
        brightest = "Brightest";
        to_dusk = "Dusk look";
    }

    /// Now.
    now: NowPage {
        open = "open";
        close = "close";
        test_on = "Run-down test: it will not stop";
        test_runs = "A run-down test is running: this board will not switch itself off.";
        about_test = "About the test";
        file_aside = "A file was set aside";
        /// Around the place of a file that was set aside.
        moved = ["It was moved to", "; nothing was overwritten."];
        keep_running = "Keep running";
        switch_off = "Switch off now";
        going_off = "Switching off";
        /// In the place of the button that was tapped, until the choice is taken back.
        kept(when) = "Kept, {when}";
        quiet_an_hour = "Quiet for an hour";
        quiet_until(until, alarm) = "Quiet until {until}: {alarm}";
        which_bank = "Say which bank it is";
        doing = "What are you doing?";
        by_itself = "By itself";
        rules_choose = "the rules choose";
        connected(bank) = "{bank} is connected.";
        change = "Change";
        finish = "Finish";
        no_finish = "No finish";
        how_long = "How long do you want to last?";
        until = "Until";
        set = "Set";
        /// What to do about a board that is not heard.
        lost = [
            "Go nearer: it may be out of reach.",
            "Its light is on: wait a minute.",
            "No light: connect another bank.",
        ];
        look_again = "Look for it again";
        /// What the page's script says, with the time or the age in the place of the braces.
        script = [
            "Not heard since {}",
            "{} ago",
            "at {}",
            "Not sent: the board is not heard",
            "Looking for it…",
            "Nothing is sent while it is not heard",
        ];
    }

    /// Plan.
    plan: PlanPage {
        title = "Plan";
        bank = "Bank";
        doing = "Doing";
        hours = "Hours";
        other = "other";
        mixes = ["mostly receive", "half and half", "mostly contacts"];
        day = "The day as planned";
        buys = "What buys the most time";
        buys_nothing = "Nothing that could be changed buys a minute.";
        start = "Start this outing";
        refine = "Refine";
        /// Lines that open.
        parts = [
            "Banks",
            "Stretches",
            "Board, radio and sending",
            "Cold",
            "Sun",
            "Wire, converter, fuse",
            "Start and reserve",
        ];
        work_out = "Work it out";
        smallest = "Smallest bank";
        assumed = "Assumed";
        cautions = "Take care";
        start_over = "Start over";
        from_record = "A bank of the record";
        by_label = "by its label";
        no_other = "none, or by its label";
        nth_bank(nth: usize) = "Bank {nth}";
        another_bank = "Another bank";
        level = "How full at the start: full, unknown, or 70 %";
        age = "Age, years";
        cycles = "Times it was charged full";
        kept_at = "Kept how full between outings, 0 to 1";
        kept_c = "Kept at, °C";
        mass = "It weighs, g";
        depth = "Share of it that is used, 0.05 to 1";
        feeds = "It feeds";
        fed = ["board and radio", "the board", "the radio"];
        together = "With the bank before it";
        in_turn = ["in turn, after it", "at the same time"];
        in_all = "Hours in all, as mixed above";
        nth_stretch(nth: usize) = "Stretch {nth}";
        another_stretch = "Another stretch";
        stretch_hours = "Hours; empty takes it out";
        activity = "Activity";
        no_activity = "by the shares below";
        busy = "Processor busy, share of all cores, 0 to 1";
        sent = "Key down, share of the time, 0 to 1";
        mode = "Sending in";
        no_mode = "by the share above";
        calling = "Calling, share of the time in that mode, 0 to 1";
        radio_class = "Radio of this kind";
        by_figures = "by its figures below";
        converter = "Converter";
        converters = ["as usual for the bank", "good", "poor", "linear"];
        efficiency = "What it leaves of the energy, 0.05 to 1";
        gauge = "Wire, AWG";
        cross_section = "or its cross-section, mm²";
        length = "Length one way, m";
        contacts = "Plugs and contacts, Ω";
        source = "Volts at the bank";
        peak = "Peak current, A";
        charge_efficiency = "Share of the charge that the bank keeps, 0.05 to 1";
        extra = "Something else on the bank, W";
        radio = "Radio";
        display = "Display";
        board = "Board";
        switched = ["on", "off"];
        connected = "Bank left connected while the board is off";
        yes_no = ["yes", "no"];
        receive_a = "Radio, receive, A";
        transmit_a = "Radio, key down, A";
        key_up_a = "Radio, sending with the key up, A";
        radio_v = "Volts that these amperes are at";
        idle_w = "Board idle, W";
        full_w = "Board with all cores busy, W";
        ambient = "Temperature around the bank, °C";
        panel = "Panel, W";
        full_sun = "Hours of full sun, from and to";
        noon = "Noon is so many hours after the start";
        latitude = "Latitude, ° north";
        longitude = "Longitude, ° east";
        from = "Start, such as 2026-06-21T08:00Z";
        cloud = "Share of cloud, from and to, 0 to 1";
        tilt = "Panel's tilt, °";
        facing = "Panel faces, ° from north by east";
        kept = "Share of it that is kept, 0 to 1";
        charge_limit = "Bank charges with at most, W";
        at = "Start at, such as 09:00; empty: now";
        finish = "Finish, hours after the start, if not the last stretch";
        reserve = "Hours in reserve after the finish";
    }

    /// A question and its answers.
    question: QuestionPage {
        take_back = "Undo: I do not know";
        which_bank = "Say which bank it is";
        to_now = "Back to Now";
    }

    /// Before a bank is connected or counts as charged.
    change_bank: ChangeBankPage {
        charged(bank) = "{bank} was charged";
        connect(bank) = "Connect {bank}";
        ask_charged(bank) = "Was {bank} charged?";
        ask_connected(bank) = "Is {bank} connected now?";
        ends(bank, so_far) = "The outing on {bank} then ends ({so_far}) and a new one begins. You \
            can undo this for ten minutes.";
        how_full = "Yes, and how full is it?";
        no = "No, change nothing";
    }

    /// The fields of a bank, on several pages.
    bank_form: BankForm {
        connected = "connected now";
        charged(bank) = "{bank} was charged";
        another = "Another bank";
        name = "Name";
        label_mah = "mAh on the label";
        label_v = "Volts that the mAh figure is for";
        label_v_if_printed = "Volts that the mAh figure is for, if printed";
        cells = "Cells";
        series = "Cells in series";
        series_if_known = "Cells in series, if you know";
        series_usual = "1 for a USB bank";
        sensor = "Where the sensor is";
        ambient = "Usual temperature around it, °C";
        cutoff = "Volts at which it cuts off, if you know";
        how_full = "How full it is";
        connect = "It is connected now";
    }

    /// Banks.
    banks: BanksPage {
        title = "Banks";
        test_runs = "A run-down test is running";
        stop_test = "Stop the test";
        none = "No bank has been added yet.";
        run_downs = "Its run-downs";
        delivered = "What it delivered";
        charged = "I charged it";
        connect = "Connect this one";
        run_down = "Test: run it down";
        import = "Read in a list";
        import_of = "of times";
        import_for(bank) = "For {bank}";
        /// What the marks of the drawings mean.
        ran_empty = "ran empty";
        at_least = "at least";
        believed = "believed, 8 in 10";
        middle = "its middle";
        not_empty = "ended before";
        ageing = "Ageing:";
        year = "A year of outings";
        hours = "Hours that each lasted, by bank.";
        change = "Change or forget it";
        rename = "Rename";
        save_label = "Save what the label says";
        forget = "Forget it";
        add = "Add a bank";
        add_it = "Add it";
        forgotten = "Forgotten";
        offer_again = "Offer it again";
        not_counted = "Not counted.";
        count_again = "Count it again";
        do_not_count = "Do not count it";
        its_outing = "Its outing";
    }

    /// What a bank delivered, by activity.
    bank_book: BankBookPage {
        title(bank) = "What {bank} delivered";
        all_banks = "All banks";
        corrected = "Corrections made to an outing count here too.";
    }

    /// Before a run-down test.
    test: TestPage {
        title(bank) = "Run {bank} down";
        one_at_a_time = "One test at a time.";
        what_it_does = "What it will do";
        charged(bank, so_far) = "The test assumes that {bank} was charged full. Its outing \
            ({so_far}) ends when you start, and a new one begins.";
        connected_now(before) = "{before} is connected now.";
        swapped(bank, before, so_far) = "The test assumes that {bank} is connected instead, and \
            full. The outing on {before} ({so_far}) ends when you start, and a new one begins.";
        can_undo = "You can undo this for ten minutes.";
        connected(bank) = "The test assumes that {bank} is connected, and full.";
        before = "Before you start";
        see_to = [
            "The board will not switch itself off: it stops when the bank does. Finish other work, \
             and let nothing write to the card that you cannot afford to lose.",
            "Charge the bank full with its own charger and let it cool down. Nothing must charge \
             it during the test.",
            "Stay near. Put it on something that does not burn, in the shade, not in a bag. \
             Lithium cells that grow hot, swell or smell: disconnect, carry it outside if that is \
             safe, keep away.",
            "Do not use a swollen, dented or wet bank, and none whose protection you do not trust. \
             Keep the fuse in place.",
            "Lead-acid is harmed by being emptied: stop such a test at the maker's lowest voltage. \
             Charge every bank again soon afterwards.",
        ];
        load = "Load the board makes by itself";
        start(bank) = "{bank} is full and connected: start";
        not_now = "Not now";
    }

    /// A run-down of before, as a list of times.
    import: ImportPage {
        title(bank) = "Import a list of times for {bank}";
        what_for = "Have you run this bank down before, with a script that noted the time at a \
            regular interval? That list counts as a run-down, from full until the bank cut out, to \
            within one interval.";
        name = "A name for it";
        name_such_as = "Small idle board";
        file = "A file on this phone";
        times = "One time stamp per line";
        such_as = "A time may look like 2024-03-09T08:00:00Z or 2024-03-09 08:00:00, or be seconds \
            since 1970. The rest of a line is ignored.";
        count(bank) = "Count it for {bank}";
        not_now = "Not now";
    }

    /// Before a bank is forgotten.
    forget: ForgetPage {
        title(bank) = "Forget {bank}?";
        what_it_does = "It is no longer offered. Its outings and run-downs stay in the record, and \
            you can offer it again later.";
        forget = "Forget it";
        keep = "Keep it";
    }

    /// Outings, and what is asked of one.
    outings: OutingsPage {
        title = "Outings";
        none_earlier = "There is nothing earlier.";
        none = "The record is still empty. An outing begins when a bank is connected.";
        import_log = "Import a contact log";
        newest = "Newest";
        earlier = "Earlier";
        how_ended = "How did this outing end?";
        ran_empty = "The bank ran empty";
        plug_pulled = "The plug was pulled";
        change_end = "Change how it ended";
        take_back = "Undo: I do not know";
    }

    /// Around the report of an outing.
    outing: OutingPage {
        all_outings = "All outings";
        goes_on = "Does this outing go on?";
        why_goes_on = "It ran on the bank that is connected now. If that was not charged since, \
            the outing goes on, and what the bank delivered then counts in the forecast.";
        not_charged = "Not charged: it goes on";
        charged = "It was charged";
        counted = "Counted as a run-down";
        why_counted = "Later forecasts for this bank learn from it. If something went wrong, do \
            not count it.";
        correct = "Correct what you were doing";
        name_and_mark = "Name and mark";
        as_recorded = "What the record says now";
        from = "From";
        to = "to";
        since_beginning = "Hours and minutes since it began.";
        it_was = "it was";
        no_activity = "no activity";
        correct_it = "Correct it";
        during_contacts = "During the log's contacts you were doing";
        count_so = "Count them so";
        undo = "Undo";
        mark = "Mark this moment";
        in_your_words = "In your words";
        mark_it = "Mark";
        name = "Name";
        save = "Save";
        import_log = "Import a contact log";
        choose_log = "Choose the log";
        download = "Export and print";
        print = "Print";
        as_file = "Report as one file";
        close_ups = "Close-ups";
        what_they_hold = "The report can be printed. It names no station you worked; your marks \
            appear as you wrote them. Close-ups are the volts and watts of every second around an \
            event, as CSV.";
    }

    /// The report of an outing, as a page, a file and in the terminal.
    report: ReportPage {
        draw = "Draw";
        /// Of the drawing of the day.
        read_at = "Time to read";
        mean = "mean";
        peaks = "peaks";
        low_to_high = "lowest to highest";
        estimated = "Estimated";
        no_reading = "No reading";
        board_off = "Board switched off";
        supply_low = "Supply too low";
        alarms = "Alarms";
        marks = "Marks";
        processor = "Processor";
        no_draw = "Nothing to draw: the record has no readings of it.";
        energy = "Where the energy went";
        doing = "Doing";
        hours = "Hour by hour";
        hour = "Hour";
        timed_modes = "Timed modes";
        contacts = "Contacts";
        band_mode = "Band, mode";
        contacts_alone = "Time and energy during the contacts alone.";
        supply = "Supply";
        temperature = "Processor temperature";
        forecasts = "What the forecasts said";
        was_right = "Was the forecast right?";
        said_at = "said at";
        cautious = "safe until";
        likely_end = "likely end";
        off = "off by";
        cautious_to_hopeful = "cautious to hopeful end";
        as_it_came = "as it came";
        planned = "Did the plan hold?";
        stretch = "Stretch";
        learned = "What was learned";
        events = "What happened";
        when = "When";
        what = "What";
        /// On paper, over lines to write on.
        notes = "Notes";
        gaps = "Sensor gaps";
        corrections = "Corrections so far";
        in_export(more: usize) = "And {more} more: the export has them all.";
        demo = ["Demonstration.", "Everything here is made up."];
        made_by(version) = "Made by outlast {version} from its own record of this outing.";
    }

    /// The contact log.
    contact_log: ContactLogPage {
        title = "Contact log";
        all_outings = "All outings";
        imported = "What was imported";
        import = "Import a log";
        what_is_kept = "The log is an ADIF file (.adi or .adx), as logging programs write it. Only \
            the time, band and mode of each contact are kept, unless the settings ask for more. \
            Importing the same log again adds nothing.";
        what_places_it = "Contacts are matched to outings by their time in UTC, so the logging \
            program's clock must have been right.";
        or_paste = "Or paste its text";
        text = "The log's text";
        import_it = "Import it";
        by_mistake = "For a log imported by mistake. Importing it again brings its contacts back.";
        file(most_mib: usize) = "A file on this phone, at most {most_mib} MiB";
        more(more: usize) = "And {more} more.";
        read(log: &Log) = log_read;
        placed(read: usize, in_no_outing: usize, new: usize) = placed;
        complaint(it: &Complaint) = complaint;
        contacts(count: usize) = contacts_in;
        outing_has(count: usize) = "This outing has {}.", contacts_in(count);
        take_out(count: usize) = take_out;
        undated(part: Seconds, all: bool) = undated;
        outing_name(name: Option<&str>, began: Option<Local>) = outing_name;
    }

    /// Station.
    station: StationPage {
        title(station) = "Station · {station}";
        look = "Appearance";
        bank = "Bank";
        outing = "Outing";
        name = "Name";
        save = "Save";
        sensors = "Sensors found";
        no_sensor = "No sensor was found that can be read.";
        board = "Board";
        record = "Record";
        /// Between why a file was set aside, and its place.
        moved = "It was moved here, and nothing was overwritten:";
        clock = "Clock";
        set_clock = "Set the board's clock from this phone";
        with_scripts = "With scripts allowed, this phone compares its clock with the board's here.";
        when_paired = "A paired phone compares its clock with the board's here.";
        pairing = "Pairing";
        all_may_change = "Anyone who connects this way can change everything.";
        is_paired = "This phone is paired: it can make changes.";
        phones = "Paired phones";
        may_look = ["This phone can look.", "Pair it", "to make changes."];
        warnings = "Warnings";
        where_warned = "Now shows them first. While it is open and this phone's screen is on, a \
            new one also vibrates and sounds, once you have tapped the page. With the screen off, \
            or another app in front, the phone stays silent. An on-board LED, a command or a \
            webhook in the settings can warn you then, and the record keeps every alarm.";
        uses = "What outlast itself uses";
        care = "Take care";
        take_care = [
            "A forecast is no promise. Where someone depends on the radio, carry a second bank.",
            "Put a fuse close to every pack, sized for the thinnest wire behind it. A shorted pack \
             melts wire and starts fires.",
            "Do not charge lithium cells below 0 °C, do not use swollen, dented or wet ones, and \
             keep all of them out of the sun. LiFePO4 packs and lead-acid have limits of their \
             own: follow the maker's sheet.",
            "Check polarity before the sensor and before the radio. Disconnect the bank before you \
             change wires.",
            "Keep people away from the antenna while you transmit, and keep within your licence \
             and the local exposure limits.",
        ];
        about = "About";
        licence(version) = "outlast {version}, under the MIT licence. For programs:";
        what_it_means = "what it means";
    }

    /// Where a phone is paired.
    pair: PairPage {
        title = "Pair this phone";
        already = "It is already paired and can make changes.";
        to_now = "Back to Now";
        /// Around the command that shows the code.
        how = ["Run", "on the board and enter the twelve digits here. Only someone with access to \
            the board can do this. Anyone else can only look."];
        lasts(minutes) = "A code is good for {minutes} minutes.";
        no_code = "No code is good now: none was asked for, or it is used or too old.";
        code = "Code";
        digits = "Twelve digits";
        name_it = "Name this phone";
        name = "Name of this phone";
        pair = "Pair";
    }

    /// Paired phones.
    phones: PhonesPage {
        title = "Paired phones";
        what_they_may(days) = "Each can make changes. A phone that has not been used for {days} \
            days must be paired again. End one that is lost, or that you do not know: it can still \
            look.";
        none = "No phone is paired.";
        only_paired = "Only a paired phone sees which others are.";
        this = "This phone.";
        end = "End its pairing";
        all = "All";
        end_all = "End all pairings";
        what_all_means = "Every phone must be paired again, this one too.";
        end_them = "End all of them";
        to_station = "Back to Station";
    }
}

/// Which part of its day a demonstration shows.
fn demo_part(part: DemoPart) -> String {
    let shows = match part {
        DemoPart::Enough => "enough",
        DemoPart::Tight => "tight",
        DemoPart::Alarm => "alarm",
        DemoPart::Countdown => "countdown",
        DemoPart::Empty => "bank empty",
        DemoPart::Morning => "next day",
    };
    format!("Part {} of 6: {shows}", part as u8 + 1)
}
