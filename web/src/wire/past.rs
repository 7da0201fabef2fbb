//! The JSON of the past, version 1. Names carry their units; members may be added, never renamed.

use reckon::{
    record::{
        self, Ageing, Channel, Ending, ForecastMade, OutingWhole, Page, RecordedRunDown, Stats,
    },
    time::Wall,
};

use super::{
    now::spec,
    object::{Object, column, list, three},
};
use crate::BankShown;

fn at(wall: Option<Wall>, utc_offset_s: i32) -> Option<String> {
    wall.and_then(|wall| wall.rfc3339(utc_offset_s))
}

fn outing(line: &record::Outing, utc_offset_s: i32) -> Object<'_> {
    let died_chance = match line.ending {
        Ending::PowerLost { died } => Some(died),
        _ => None,
    };
    Object::new()
        .with("id", line.id)
        .with("name", line.name.as_ref())
        .with("bank", line.bank.as_ref())
        .with("start_level", line.start_share)
        .with("began_at", at(line.began, utc_offset_s))
        .with("ended_at", at(line.ended, utc_offset_s))
        .with("lasted_s", line.lasted_s)
        .with("ended_within_s", line.ended_within_s)
        .with("ending", line.ending.name())
        .with("died_chance", died_chance)
        .with("energy_wh", line.energy_wh)
        .with("bridged_wh", line.bridged_wh)
        .with("over_range_wh", line.over_range_wh)
        .with("energy_is_at_least", line.is_at_least())
        .with("mean_power_w", line.mean_power_w)
        .with("peak_power_w", line.peak_power_w)
}

pub(crate) fn outings(page: &Page<record::Outing>, utc_offset_s: i32) -> Object<'_> {
    Object::new()
        .with("outings", list(page.items.iter().map(|line| outing(line, utc_offset_s))))
        .with("next", page.next)
}

pub(crate) fn outing_whole<'a>(whole: &'a OutingWhole, utc_offset_s: i32) -> Object<'a> {
    let event = |it: &'a record::Event| {
        Object::new().with("at_s", it.at.as_s()).with("kind", it.kind.name()).with("text", &it.text)
    };
    let gap = |it: &'a record::SourceGap| {
        Object::new()
            .with("from_s", it.from_s)
            .with("to_s", it.to_s)
            .with("source", &it.title)
            .with("why", &it.why)
    };
    let forecast = |it: &'a ForecastMade| {
        Object::new()
            .with("at_s", it.at.as_s())
            .with("remaining_s", three(it.remaining_s))
            .with("basis", it.basis.name())
    };
    outing(&whole.outing, utc_offset_s)
        .with("events", list(whole.events.iter().map(event)))
        .with("gaps", list(whole.gaps.iter().map(gap)))
        .with("forecasts", list(whole.forecasts.iter().map(forecast)))
        .with("rundown", whole.run_down().map(|it| rundown(it, utc_offset_s)))
}

fn rundown(it: &RecordedRunDown, utc_offset_s: i32) -> Object<'_> {
    let seen = &it.data;
    Object::new()
        .with("id", it.id)
        .with("bank_id", it.bank)
        .with("outing_id", it.outing)
        .with("name", seen.name.as_ref())
        .with("began_at", at(it.began, utc_offset_s))
        .with("whole", seen.whole)
        .with("struck", it.struck)
        .with("start_level", seen.start_share)
        .with("lasted_s", seen.lasted_s)
        .with("longer_s", seen.within_s)
        .with("shorter_s", seen.before_s)
        .with("delivered_wh", it.delivered_wh())
        .with("bridged_wh", seen.bridged_wh)
        .with("delivered_is_at_least", !seen.is_exact())
        .with("mean_power_w", it.mean_power_w())
        .with("measured", seen.measured)
        .with("ambient_c", seen.ambient_c)
}

pub(crate) fn banks<'a>(all: &'a [BankShown], utc_offset_s: i32) -> Object<'a> {
    let bank = |it: &'a BankShown| {
        let run_downs = it.whole.run_downs.iter().map(|it| rundown(it, utc_offset_s));
        Object::new()
            .with("id", it.whole.bank.id)
            .with_all(spec(&it.whole.bank.spec))
            .with("forgotten", it.whole.bank.forgotten)
            .with("usable_wh", it.usable_wh.map(three))
            .with("usual_power_w", it.year.usual_w)
            .with("ageing", ageing(&it.year.ageing, utc_offset_s))
            .with("ageing_gap", ageing_gap(&it.year.ageing))
            .with("rundowns", list(run_downs))
    };
    Object::new().with("banks", list(all.iter().map(bank)))
}

fn ageing(of: &Ageing, utc_offset_s: i32) -> Option<Object<'static>> {
    let Ageing::Seen { between, run_downs, change_wh } = of else { return None };
    let since = at(between.map(|[first, _]| first), utc_offset_s);
    let seen = Object::new().with("since_at", since).with("learned_from", *run_downs);
    Some(seen.with("change_wh", three(*change_wh)))
}

const fn ageing_gap(of: &Ageing) -> Option<&'static str> {
    match of {
        Ageing::NeverEmpty => Some("never-empty"),
        Ageing::Once => Some("empty-once"),
        Ageing::Seen { .. } => None,
    }
}

pub(crate) fn series(found: &record::Series) -> Object<'_> {
    let channel = |all: Object<'static>, (channel, seen): &(Channel, Vec<Option<Stats>>)| {
        let of = |pick: fn(Stats) -> f64| column(seen.iter().map(|it| it.map(pick)));
        let folds = Object::new()
            .with("mean", of(|it| it.mean))
            .with("min", of(|it| it.min))
            .with("max", of(|it| it.max));
        all.with(channel.name(), folds)
    };
    let asked = |one| found.channels.iter().find(|(channel, _)| *channel == one);
    let channels = Channel::ALL.into_iter().filter_map(asked).fold(Object::new(), channel);
    Object::new()
        .with("step_s", found.step_s)
        .with("t_s", column(found.t_s.iter().copied().map(Some)))
        .with("channels", channels)
}
