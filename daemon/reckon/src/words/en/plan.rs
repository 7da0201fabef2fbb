//! What a plan says: what it took for granted, what is wrong with one.

use alloc::{format, string::String};

use crate::plan::Assumption;

sentences! {
    unknown_table(name) = "a plan has no table of this name ({name}). It has bank, draw, stretch and sun.";
    too_many(most) = "that is more than a plan takes of them: {most} at most.";
    unknown_key(known) = "there is no such key. There are: {known}.";
    want_number(low, high, unit: &str) = "want a number from {low} to {high}{}{unit}.", space(unit);
    want_pair(low, high, unit: &str) = "want two numbers from {low} to {high}{}{unit}, the lesser first.", space(unit);
    want_word(all) = "want one of: {all}.";
    WANT_FLAG = "want true or false.";
    WANT_TEXT = "want a text in quotes.";
    WANT_LEVEL = "want \"full\", \"unknown\" or a share such as \"70 %\".";
    WANT_MOMENT = "want a date and time with its offset in quotes, such as \"2026-06-21T08:00Z\".";
    NO_PANEL_W = "it is missing: how many watts is the panel rated for?";
    NO_LIGHT = "how much sun there is cannot be told. Write full_sun_h = [from, to], or latitude_deg, \
        longitude_deg and from.";
    NO_BANK = "no bank is named. Without one nothing can be said: write what its label prints, or \
        known = \"its name\" for one of the record.";
    no_such_bank(name) = "there is no bank called {name} in the record. `outlast bank list` names them.";
    NO_STRETCH = "no stretch is named. Write how many hours, and what is done in them.";
    NO_HOURS = "it is missing: how long is this stretch?";
    EITHER_OR = "want either an activity or busy and sent, not both.";
    no_such_activity(name) = "{name} was never recorded here, and nothing is usual of it. Write busy \
        and sent instead.";
}

fn space(unit: &str) -> &'static str {
    if unit.is_empty() { "" } else { " " }
}

/// What was taken for granted.
#[must_use]
pub fn assumption(one: &Assumption) -> String {
    match one {
        Assumption::Full => "The bank is full at the start.".into(),
        Assumption::Temperate => "It is about 15 °C.".into(),
        Assumption::SomeBoard => "The board is a middling one: nobody said which.".into(),
        Assumption::NoonSoon => "Noon is three hours after the start.".into(),
        Assumption::AnySky => "Between a fifth of the sky and all of it is cloudy.".into(),
        Assumption::SomewhatBusy => "The processor is busy for a seventh of the time.".into(),
        Assumption::UsualActivity(name) => {
            format!("{name} draws what is usual: it was never recorded here.")
        }
    }
}
