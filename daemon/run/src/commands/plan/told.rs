//! What a plan comes to, for a terminal.

use reckon::{
    units::{AmpHours, Amps, Joules, Seconds, Share, Volts, Watts},
    words::plan_answer as words_of,
};
use serde_json::Value;

use crate::{
    commands::text::{energy, figure, table, text as string},
    host::now_text::plain_spaces,
};

/// The answer in sentences and columns.
pub(super) fn text(told: &Value) -> String {
    let share = |key: &str| Share::nearest(number(&told[key]));
    let seconds = |of: &Value| Seconds::of(number(of));
    let mut lines =
        vec![words_of::until_finish(seconds(&told["finish_s"]), share("chance_of_finish"))];
    if number(&told["reserve_s"]) > 0.0 {
        lines.push(words_of::with_reserve(
            seconds(&told["reserve_s"]),
            share("chance_with_reserve"),
        ));
    }
    let beyond = ["p10", "p50", "p90"].map(|key| told["beyond"][key] == true);
    lines.push(words_of::ends(three(&told["lasts_s"]).map(Seconds::of), beyond));
    lines.push(words_of::held(&usable(&told["energy_wh"])));
    let [low, _, high] = three(&told["draw_range_w"]).map(Watts::of);
    lines.push(words_of::drawn(Watts::of(number(&told["draw_w"])), low, high));
    lines.extend(lead(&told["lead"]));
    lines.push(format!("\n{}\n{}", words_of::BANKS, banks(&told["banks"]).trim_end()));
    let all = |key: &str| told[key].as_array().map_or(&[][..], Vec::as_slice);
    let smallest: Vec<String> = all("smallest_bank").iter().map(smallest).collect();
    let none = || vec![words_of::NO_BANK_IS_ENOUGH.to_owned()];
    let smallest = if smallest.is_empty() { none() } else { smallest };
    let changes = all("changes")
        .iter()
        .map(|it| words_of::gains(&string(it, "what"), Seconds::of(number(&it["gains_s"]))));
    let sentences =
        |key: &str| all(key).iter().filter_map(Value::as_str).map(str::to_owned).collect();
    for (title, all) in [
        (words_of::SMALLEST, smallest),
        (words_of::CHANGES, changes.collect()),
        (words_of::ASSUMED, sentences("assumptions")),
        (words_of::CAUTIONS, sentences("cautions")),
    ] {
        if !all.is_empty() {
            lines.push(format!("\n{title}\n  {}", all.join("\n  ")));
        }
    }
    plain_spaces(&(lines.join("\n") + "\n"))
}

fn number(of: &Value) -> f64 {
    of.as_f64().unwrap_or(0.0)
}

fn three(of: &Value) -> [f64; 3] {
    ["p10", "p50", "p90"].map(|key| number(&of[key]))
}

fn usable(of: &Value) -> String {
    words_of::usable(&energy(&of["p10"]), &energy(&of["p50"]), &energy(&of["p90"]))
}

fn banks(all: &Value) -> String {
    let title = ["", "known from", words_of::USABLE_COLUMN, "label", "weighs"].map(str::to_owned);
    let row = |it: &Value| {
        vec![
            string(it, "name").to_owned(),
            words_of::known_from(it["learned_from"].as_u64().unwrap_or(0)),
            usable(&it["usable_wh"]),
            energy(&it["label_wh"]),
            figure(&it["mass_g"], 0, "g"),
        ]
    };
    let rows = all.as_array().into_iter().flatten().map(row);
    table(&std::iter::once(title.to_vec()).chain(rows).collect::<Vec<_>>())
}

fn smallest(it: &Value) -> String {
    let label = AmpHours::of(number(&it["label_mah"]) / 1000.0);
    let usable = Joules::from_wh(number(&it["usable_wh"]));
    words_of::smallest(Share::nearest(number(&it["chance"])), label, usable)
}

fn lead(it: &Value) -> Vec<String> {
    if it.is_null() {
        return Vec::new();
    }
    let volts = |key: &str| Volts::of(number(&it[key]));
    let peak = Amps::of(number(&it["peak_a"]));
    let mut lines = vec![words_of::lead(peak, volts("drop_v"), volts("far_end_v"))];
    lines.extend((it["undervoltage"] == true).then(|| words_of::UNDERVOLTAGE.to_owned()));
    lines.extend(it["fuse_a"].as_f64().map(|amps| words_of::fuse(&amps)));
    lines.extend((it["wire_too_thin"] == true).then(|| words_of::WIRE_TOO_THIN.to_owned()));
    lines
}
