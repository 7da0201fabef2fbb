//! The second language: every text of English with its letters circled.

use std::cell::RefCell;

use reckon::words::{
    self, BankBookPage, BankForm, BanksPage, ChangeBankPage, ContactLogPage, ENGLISH, ForgetPage,
    Frame, ImportPage, Language, NowPage, OutingPage, OutingsPage, PairPage, PhonesPage, PlanPage,
    QuestionPage, ReportPage, StationPage, TestPage,
};

/// Every letter in a circle, so that none of ASCII is left.
pub(super) fn circled(text: &str) -> String {
    let circled = |letter: char| match letter.to_ascii_uppercase() {
        upper @ 'A'..='Z' => char::from_u32(0x24b6 + u32::from(upper) - u32::from('A')).unwrap(),
        _ => letter,
    };
    text.chars().map(circled).collect()
}

/// Texts of English that are the same at any moment, each with the table it stands in.
pub(super) type Fixed = Vec<(&'static str, &'static str)>;

/// A text that is circled, and kept as it was. Leaks a little, as a test may.
trait Text: Copy {
    fn circled(self, table: &'static str, english: &RefCell<Fixed>) -> Self;
}

impl Text for &'static str {
    fn circled(self, table: &'static str, english: &RefCell<Fixed>) -> Self {
        english.borrow_mut().push((table, self));
        Box::leak(circled(self).into_boxed_str())
    }
}

impl Text for &'static [&'static str] {
    fn circled(self, table: &'static str, english: &RefCell<Fixed>) -> Self {
        self.iter().map(|text| text.circled(table, english)).collect::<Vec<_>>().leak()
    }
}

/// A page of the second language. It names every text, as a language must; those with arguments too.
macro_rules! page {
    ($english:ident $Page:ident $page:ident: $($text:ident $(($($arg:ident),+))?),+) => {
        $Page { $($text: page!($english $page $text $(($($arg),+))?)),+ }
    };
    ($english:ident $page:ident $text:ident) => {
        ENGLISH.$page.$text.circled(stringify!($page), &$english)
    };
    ($english:ident $page:ident $text:ident ($($arg:ident),+)) => {
        |$($arg),+| circled(&ENGLISH.$page.$text($($arg),+))
    };
}

/// The second language, and the fixed texts of English that it has others for.
pub(super) fn pseudo() -> (&'static Language, Fixed) {
    let en = RefCell::default();
    let language = Language {
        tag: "en-x-pseudo",
        frame: page!(en Frame frame: skip, demo, demo_part(part), demo_asks, demo_empty, pages, places, may_look, pair,
            dimmer, dimmest, brighter, brightest, to_dusk),
        now: page!(en NowPage now: open, close, test_on, test_runs, about_test, file_aside, moved,
            keep_running, switch_off, going_off, kept(when), quiet_an_hour, quiet_until(until, alarm),
            which_bank, doing, by_itself, rules_choose, connected(bank), change, finish, no_finish,
            how_long, until, set, lost, look_again, script),
        plan: page!(en PlanPage plan: title, bank, doing, hours, other, mixes, day, buys, buys_nothing, start,
            refine, parts, work_out, smallest, assumed, cautions, start_over, from_record, by_label, no_other,
            nth_bank(nth), another_bank, level, age, cycles, kept_at, kept_c, mass, depth, feeds, fed, together, in_turn, in_all,
            nth_stretch(nth), another_stretch, stretch_hours, activity, no_activity, busy, sent,
            mode, no_mode, calling, radio_class, by_figures, converter, converters, efficiency,
            gauge, cross_section, length, contacts, source, peak, charge_efficiency, extra, radio,
            display, board, switched, connected, yes_no, receive_a, transmit_a, key_up_a, radio_v, idle_w,
            full_w, ambient, panel, full_sun, noon, latitude, longitude, from, cloud, tilt, facing,
            kept, charge_limit, at, finish, reserve),
        question: page!(en QuestionPage question: take_back, which_bank, to_now),
        change_bank: page!(en ChangeBankPage change_bank: charged(bank), connect(bank),
            ask_charged(bank), ask_connected(bank), ends(bank, so_far), how_full, no),
        bank_form: page!(en BankForm bank_form: connected, charged(bank), another, name, label_mah,
            label_v, label_v_if_printed, cells, series, series_if_known, series_usual, sensor,
            ambient, cutoff, how_full, connect),
        banks: page!(en BanksPage banks: title, test_runs, stop_test, none, run_downs,
            delivered, charged, connect, run_down, import, import_of, import_for(bank), ran_empty,
            at_least, believed, middle, not_empty, ageing, year, hours, change, rename, save_label, forget, add, add_it, forgotten,
            offer_again, not_counted, count_again, do_not_count, its_outing),
        bank_book: page!(en BankBookPage bank_book: title(bank), all_banks, corrected),
        test: page!(en TestPage test: title(bank), one_at_a_time, what_it_does,
            charged(bank, so_far), connected_now(before), swapped(bank, before, so_far), can_undo,
            connected(bank), before, see_to, load, start(bank), not_now),
        import: page!(en ImportPage import: title(bank), what_for, name, name_such_as, file, times,
            such_as, count(bank), not_now),
        forget: page!(en ForgetPage forget: title(bank), what_it_does, forget, keep),
        outings: page!(en OutingsPage outings: title, none_earlier, none, import_log, newest,
            earlier, how_ended, ran_empty, plug_pulled, change_end, take_back),
        outing: page!(en OutingPage outing: all_outings, goes_on, why_goes_on, not_charged, charged,
            counted, why_counted, correct, name_and_mark, as_recorded, from, to, since_beginning, it_was,
            no_activity, correct_it, during_contacts, count_so, undo, mark, in_your_words, mark_it,
            name, save, import_log, choose_log, download, print, as_file, close_ups, what_they_hold),
        report: page!(en ReportPage report: draw, read_at, mean, peaks, low_to_high, estimated,
            no_reading, board_off, supply_low, alarms, marks, processor, no_draw, energy, doing,
            hours, hour, timed_modes, contacts, band_mode, contacts_alone, supply, temperature,
            forecasts, was_right, said_at, cautious, likely_end, off, cautious_to_hopeful,
            as_it_came, planned, stretch, learned, events, when, what, notes, gaps, corrections, in_export(more),
            demo, made_by(version)),
        contact_log: ContactLogPage {
            outing_name: |name, began| match name {
                Some(name) => format!("«{name}»"),
                None => circled(&words::outing_name(None, began)),
            },
            ..page!(en ContactLogPage contact_log: title, all_outings, imported, import,
                what_is_kept, what_places_it, or_paste, text, import_it, by_mistake, file(most_mib),
                more(more), read(log), placed(read, in_no_outing, new), complaint(it), contacts(count), outing_has(count),
                take_out(count), undated(part, all), outing_name(name, began))
        },
        station: page!(en StationPage station: title(station), look, bank, outing, name, save,
            sensors, no_sensor, board, record, moved, clock, set_clock, with_scripts, when_paired,
            pairing, all_may_change, is_paired, phones, may_look, warnings, where_warned, uses, care,
            take_care, about, licence(version), what_it_means),
        pair: page!(en PairPage pair: title, already, to_now, how, lasts(minutes), no_code, code, digits,
            name_it, name, pair),
        phones: page!(en PhonesPage phones: title, what_they_may(days), none, only_paired, this, end,
            all, end_all, what_all_means, end_them, to_station),
    };
    (Box::leak(Box::new(language)), en.into_inner())
}
