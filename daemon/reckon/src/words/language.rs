//! What a language has to fill in: the fixed texts of a page and the sentences beside them, one
//! struct for each page. A language is a folder like `en` and one [`Language`] value.

use alloc::string::String;

use super::Local;
use crate::{
    adif::{Complaint, Log},
    units::Seconds,
};

/// A language.
#[derive(Clone, Copy)]
pub struct Language {
    /// Its tag (BCP 47), for the page's `lang`.
    pub tag: &'static str,
    /// Around every page.
    pub frame: Frame,
    /// The page of the contact log.
    pub contact_log: ContactLogPage,
    /// The report of an outing, as a page, a file and in the terminal.
    pub report: ReportPage,
    /// Paired phones, and the page where one is paired.
    pub phones: PhonesPage,
    /// The long notes of other pages.
    pub notes: Notes,
}

/// Around every page.
#[derive(Clone, Copy)]
pub struct Frame {
    /// For a keyboard: past the navigation.
    pub skip: &'static str,
    /// That nothing here is real, and how far that goes.
    pub demo: [&'static str; 2],
    /// What the navigation is, for a screen reader.
    pub pages: &'static str,
    /// Its entries: Now, Outings, Banks, Station.
    pub places: [&'static str; 4],
    /// To a phone that is not paired.
    pub may_look: &'static str,
    /// The link behind it.
    pub pair: &'static str,
}

/// The page of the contact log.
#[derive(Clone, Copy)]
pub struct ContactLogPage {
    /// Its title.
    pub title: &'static str,
    /// Back to the list.
    pub all_outings: &'static str,
    /// Above what came of a log.
    pub imported: &'static str,
    /// No outing has contacts of it.
    pub none_placed: &'static str,
    /// Above the form.
    pub import: &'static str,
    /// What a contact log is, and what is kept of it.
    pub what_is_kept: &'static str,
    /// What lays a contact beside an outing.
    pub what_places_it: &'static str,
    /// Opens the field for text.
    pub or_paste: &'static str,
    /// That field.
    pub text: &'static str,
    /// The form's button.
    pub import_it: &'static str,
    /// What taking contacts out is for.
    pub by_mistake: &'static str,
    /// The field for a file of so many MiB.
    pub file: fn(usize) -> String,
    /// So many complaints more.
    pub more: fn(usize) -> String,
    /// What came of a log.
    pub read: fn(&Log) -> String,
    /// What is wrong with a record of it.
    pub complaint: fn(&Complaint) -> String,
    /// So many contacts.
    pub contacts: fn(usize) -> String,
    /// The outing has so many.
    pub outing_has: fn(usize) -> String,
    /// The button that takes so many out.
    pub take_out: fn(usize) -> String,
    /// Why none can be laid beside a part of an outing, or all of it.
    pub undated: fn(Seconds, bool) -> String,
    /// An outing's name, or what stands for one.
    pub outing_name: fn(Option<&str>, Option<Local>) -> String,
}

/// The pages of paired phones.
#[derive(Clone, Copy)]
pub struct PhonesPage {
    /// The title of the page where one is paired.
    pub pair: &'static str,
    /// This one is paired; and the way back.
    pub is_paired: [&'static str; 2],
    /// How it is paired, within so many minutes.
    pub how: fn(u64) -> String,
    /// Nobody asked for a code in so many minutes.
    pub no_code: fn(u64) -> String,
    /// The fields of the form, and its button.
    pub fields: [&'static str; 3],
    /// The title of the list.
    pub title: &'static str,
    /// What the list is for; tickets last for so many days.
    pub what_they_may: fn(u64) -> String,
    /// There is none.
    pub none: &'static str,
    /// To whom the list is not shown.
    pub only_paired: &'static str,
    /// The one that looks.
    pub this: &'static str,
    /// The button that ends one.
    pub end: &'static str,
    /// Above ending all; what opens it; what it does; its button.
    pub all: [&'static str; 4],
    /// The way back.
    pub back: &'static str,
}

/// The report of an outing: its headings and notes.
#[derive(Clone, Copy)]
pub struct ReportPage {
    /// The draw, and its drawing.
    pub draw: &'static str,
    /// What the drawing shows.
    pub draw_shows: &'static str,
    /// There is nothing to draw.
    pub no_draw: &'static str,
    /// The energy by activity.
    pub energy: &'static str,
    /// The head of a column of activities.
    pub doing: &'static str,
    /// The energy by the hour.
    pub hours: &'static str,
    /// The head of a column of hours.
    pub hour: &'static str,
    /// Timed modes.
    pub timed_modes: &'static str,
    /// Contacts.
    pub contacts: &'static str,
    /// The head of a column of bands and modes.
    pub band_mode: &'static str,
    /// What that table counts.
    pub contacts_alone: &'static str,
    /// The supply's voltage.
    pub supply: &'static str,
    /// The processor's temperature.
    pub temperature: &'static str,
    /// The forecasts against what came.
    pub forecasts: &'static str,
    /// What their drawing shows.
    pub forecasts_show: &'static str,
    /// Some forecasts in words.
    pub in_words: &'static str,
    /// What was learned of the bank.
    pub learned: &'static str,
    /// Events.
    pub events: &'static str,
    /// Times without a reading.
    pub gaps: &'static str,
    /// Corrections.
    pub corrections: &'static str,
    /// So many rows more can be opened.
    pub more: fn(usize) -> String,
    /// So many rows more are in the export alone.
    pub in_export: fn(usize) -> String,
}

/// The long notes of pages.
#[derive(Clone, Copy)]
pub struct Notes {
    /// Where warnings show, and when a phone is silent.
    pub warnings: &'static str,
    /// What to take care of with banks and antennas.
    pub care: [&'static str; 5],
    /// What a run-down test does.
    pub run_down: &'static str,
    /// What to see to before one.
    pub before_run_down: [&'static str; 5],
    /// What a list of times is for.
    pub list: &'static str,
    /// What its lines look like.
    pub times: &'static str,
    /// What a report and the close-ups hold.
    pub report: &'static str,
    /// What it means that an outing counts as a run-down.
    pub counted: &'static str,
    /// What it means that an outing goes on.
    pub goes_on: &'static str,
    /// What forgetting a bank does.
    pub forget: &'static str,
}
