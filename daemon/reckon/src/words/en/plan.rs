//! What a plan says: what it took for granted, what is wrong with one.

use alloc::{format, string::String};

use crate::plan::{Assumption, Caution, What};

sentences! {
    unknown_table(name) = "a plan has no table of this name ({name}). It has bank, converter, lead, draw, sun and stretch.";
    want_table(name) = "want a table: [{name}] in a plan file, an object in JSON.";
    too_many(most) = "that is more than a plan takes of them: {most} at most.";
    unknown_key(known) = "there is no such key. There are: {known}.";
    REFUSED_TITLE = "The plan cannot be worked out";
    not_json(why) = "This is no JSON that can be read: {why}. Nothing was worked out.";
    NO_OBJECT = "A plan is an object with bank and stretch. Nothing was worked out.";
    fault(place, want) = "{place}: {want}";
    want_number(low, high, unit: &str) = "want a number from {low} to {high}{}{unit}.", space(unit);
    want_pair(low, high, unit: &str) = "want two numbers from {low} to {high}{}{unit}, the lesser first.", space(unit);
    want_word(all) = "want one of: {all}.";
    WANT_CURVE = "want amperes at 5 V and efficiency in turn, at most 32 of each, the amperes rising: \
        [0.1, 0.8, 1, 0.92].";
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
    OWN_CONVERTER = "a USB bank has a converter of its own, which counts already. Leave this table out.";
    NO_CONVERTER = "it is missing: \"good\", \"poor\" or \"linear\", or an efficiency.";
    NO_LEAD = "a lead needs its length_m from end to end, and awg or mm2.";
    KNOWN_OR_TOLD = "a known bank has this from the record. Leave it out, or describe the bank without known.";
    IDLE_AND_FULL = "it is missing: idle_w and full_w go together.";
    want_board(board) = "want {board}";
    CALLING_ALONE = "it is a share of a mode's time, and no mode is named.";
    MODE_OR_SENT = "want either a mode or sent, not both.";
    NO_STRETCH = "no stretch is named. Write how many hours, and what is done in them.";
    NO_HOURS = "it is missing: how long is this stretch?";
    EITHER_OR = "want either an activity or busy, sent and mode, not both.";
    no_such_activity(name) = "{name} was never recorded here, and nothing is usual of it. Write busy \
        and sent instead.";
}

fn space(unit: &str) -> &'static str {
    if unit.is_empty() { "" } else { " " }
}

/// What a change is.
#[must_use]
pub fn change(one: &What) -> String {
    match one {
        What::Take(bank) => format!("Take {bank} instead."),
        What::Bring(bank) => format!("Bring {bank} as well."),
        What::Double => "Take a bank of twice the size.".into(),
        What::Quieter(activity) => {
            format!("Give half of what draws more to {activity}.")
        }
        What::Panel => "Bring a panel of 20 W, for three hours of full sun a day.".into(),
        What::SendHalf => "Send half as much.".into(),
        What::SlowDown => "Slow the processor down to half its clock.".into(),
        What::DisplayOff => "Keep the display off.".into(),
        What::RadioOff => "Switch the radio off where nothing is decoded.".into(),
        What::KeepWarm => "Keep the bank warm, in a pocket or a bag: at about 15 °C.".into(),
    }
}

/// What was taken for granted.
#[must_use]
pub fn assumption(one: &Assumption) -> String {
    match one {
        Assumption::Full => "The bank is full at the start.".into(),
        Assumption::ToTheEnd => {
            "The lead-acid battery is used until it cuts out. It lives longer if half is left: depth = 0.5.".into()
        }
        Assumption::Temperate => "It is about 15 °C.".into(),
        Assumption::SomeBoard => "The board is a middling one: nobody said which.".into(),
        Assumption::RadioOfClass => "The radio draws what the middle of its class draws.".into(),
        Assumption::NoonSoon => "Noon is three hours after the start.".into(),
        Assumption::AnySky => "Between a fifth of the sky and all of it is cloudy.".into(),
        Assumption::SomewhatBusy => "The processor is busy for a seventh of the time.".into(),
        Assumption::UsualActivity(name) => {
            format!("{name} draws what is usual: it was never recorded here.")
        }
        Assumption::DrawnElsewhere(name, bank) => format!("{name} draws what it drew on {bank}."),
    }
}

/// What can hurt somebody.
#[must_use]
pub const fn caution(one: Caution) -> &'static str {
    match one {
        Caution::Fuse => {
            "Put a fuse into the lead, right at the battery, that the wire outlasts. Never bridge a \
             pack's own protection."
        }
        Caution::Freezing => {
            "Never charge lithium cells below 0 °C: it harms them for good, and they may burn later. \
             Warm the bank first."
        }
        Caution::Heat => {
            "Keep banks out of the sun and out of closed cars. One that is swollen, wet, was dropped or \
             gets hot is finished: stop using it."
        }
        Caution::Gas => "Lead-acid gives off explosive gas while it is charged: let air in.",
        Caution::SideBySide => {
            "Put only like banks side by side: same cells, same age, same voltage when you join them."
        }
        Caution::FeedingBack => {
            "Never feed the board from two supplies at once: one may drive current into the other."
        }
        Caution::AskAirline => {
            "A battery of more than 100 Wh flies only if the airline agrees, in the cabin. Rules change: ask."
        }
        Caution::NotByAir => "A passenger may not take this battery on an aircraft.",
        Caution::Licence => {
            "Your licence, local rules and the limits for exposure to radio fields come first."
        }
        Caution::Estimate => {
            "This is an estimate, and no safety device. Do not rely on it to call for help or to get down."
        }
    }
}
