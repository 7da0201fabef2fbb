//! The JSON of the past, version 1. Names carry their units; members may be added, never renamed.

use reckon::{
    record::{self, BankWhole, Channel, Ending, Page, RecordedRunDown, Stats},
    time::Wall,
};
use serde::Serialize;

use crate::{BankShown, wire::time::rfc3339};

#[derive(Serialize)]
pub(crate) struct Outings {
    outings: Vec<Outing>,
    next: Option<i64>,
}

#[derive(Serialize)]
pub(crate) struct Outing {
    id: i64,
    name: Option<String>,
    bank: Option<String>,
    start_level: Option<f64>,
    began_at: Option<String>,
    ended_at: Option<String>,
    lasted_s: f64,
    ended_within_s: Option<f64>,
    ending: &'static str,
    died_chance: Option<f64>,
    energy_wh: Option<f64>,
    bridged_wh: Option<f64>,
    mean_power_w: Option<f64>,
    peak_power_w: Option<f64>,
}

#[derive(Serialize)]
pub(crate) struct OutingWhole {
    #[serde(flatten)]
    outing: Outing,
    events: Vec<Event>,
    gaps: Vec<Gap>,
    forecasts: Vec<Forecast>,
    rundown: Option<Rundown>,
}

#[derive(Serialize)]
struct Event {
    at_s: f64,
    kind: &'static str,
    text: String,
}

#[derive(Serialize)]
struct Gap {
    from_s: f64,
    to_s: Option<f64>,
    source: String,
    why: String,
}

#[derive(Serialize)]
pub(crate) struct Three {
    p10: f64,
    p50: f64,
    p90: f64,
}

#[derive(Serialize)]
struct Forecast {
    at_s: f64,
    remaining_s: Three,
    basis: &'static str,
}

#[derive(Serialize)]
pub(crate) struct Rundown {
    id: i64,
    bank_id: i64,
    outing_id: Option<i64>,
    name: Option<String>,
    began_at: Option<String>,
    whole: bool,
    struck: bool,
    start_level: Option<f64>,
    lasted_s: f64,
    longer_s: f64,
    shorter_s: f64,
    delivered_wh: Option<f64>,
    bridged_wh: Option<f64>,
    mean_power_w: Option<f64>,
    measured: bool,
    ambient_c: Option<f64>,
}

#[derive(Serialize)]
pub(crate) struct Banks {
    banks: Vec<Bank>,
}

#[derive(Serialize)]
struct Bank {
    id: i64,
    name: String,
    cells: &'static str,
    series: u8,
    label_mah: f64,
    label_v: f64,
    measured_at: &'static str,
    ambient_c: Option<f64>,
    cutoff_v: Option<f64>,
    forgotten: bool,
    usable_wh: Option<Three>,
    rundowns: Vec<Rundown>,
}

#[derive(Serialize)]
pub(crate) struct Series {
    step_s: f64,
    t_s: Vec<f64>,
    channels: Channels,
}

#[derive(Serialize, Default)]
struct Channels {
    #[serde(skip_serializing_if = "Option::is_none")]
    volts_v: Option<Folds>,
    #[serde(skip_serializing_if = "Option::is_none")]
    current_a: Option<Folds>,
    #[serde(skip_serializing_if = "Option::is_none")]
    power_w: Option<Folds>,
    #[serde(skip_serializing_if = "Option::is_none")]
    modelled_w: Option<Folds>,
    #[serde(skip_serializing_if = "Option::is_none")]
    counted_wh: Option<Folds>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cpu_busy: Option<Folds>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cpu_temp_c: Option<Folds>,
    #[serde(skip_serializing_if = "Option::is_none")]
    level: Option<Folds>,
}

#[derive(Serialize)]
struct Folds {
    mean: Vec<Option<f64>>,
    min: Vec<Option<f64>>,
    max: Vec<Option<f64>>,
}

fn at(wall: Option<Wall>, utc_offset_s: i32) -> Option<String> {
    wall.and_then(|wall| rfc3339(wall, utc_offset_s))
}

pub(crate) const fn three([p10, p50, p90]: [f64; 3]) -> Three {
    Three { p10, p50, p90 }
}

fn outing(line: record::Outing, utc_offset_s: i32) -> Outing {
    Outing {
        id: line.id,
        name: line.name,
        bank: line.bank,
        start_level: line.start_share,
        began_at: at(line.began, utc_offset_s),
        ended_at: at(line.ended, utc_offset_s),
        lasted_s: line.lasted_s,
        ended_within_s: line.ended_within_s,
        ending: line.ending.name(),
        died_chance: match line.ending {
            Ending::PowerLost { died } => Some(died),
            _ => None,
        },
        energy_wh: line.energy_wh,
        bridged_wh: line.bridged_wh,
        mean_power_w: line.mean_power_w,
        peak_power_w: line.peak_power_w,
    }
}

pub(crate) fn outings(page: Page<record::Outing>, utc_offset_s: i32) -> Outings {
    let outings = page.items.into_iter().map(|line| outing(line, utc_offset_s)).collect();
    Outings { outings, next: page.next }
}

pub(crate) fn outing_whole(whole: record::OutingWhole, utc_offset_s: i32) -> OutingWhole {
    let forecast = |it: record::ForecastMade| Forecast {
        at_s: it.at.as_s(),
        remaining_s: three(it.remaining_s),
        basis: it.basis.name(),
    };
    let rundown = whole.run_down().map(|it| rundown(it, utc_offset_s));
    OutingWhole {
        rundown,
        outing: outing(whole.outing, utc_offset_s),
        events: whole
            .events
            .into_iter()
            .map(|it| Event { at_s: it.at.as_s(), kind: it.kind.name(), text: it.text })
            .collect(),
        gaps: whole
            .gaps
            .into_iter()
            .map(|it| Gap { from_s: it.from_s, to_s: it.to_s, source: it.title, why: it.why })
            .collect(),
        forecasts: whole.forecasts.into_iter().map(forecast).collect(),
    }
}

fn rundown(it: &RecordedRunDown, utc_offset_s: i32) -> Rundown {
    let seen = &it.data;
    Rundown {
        id: it.id,
        bank_id: it.bank,
        outing_id: it.outing,
        name: seen.name.clone(),
        began_at: at(it.began, utc_offset_s),
        whole: seen.whole,
        struck: it.struck,
        start_level: seen.start_share,
        lasted_s: seen.lasted_s,
        longer_s: seen.within_s,
        shorter_s: seen.before_s,
        delivered_wh: seen.delivered_wh,
        bridged_wh: seen.bridged_wh,
        mean_power_w: seen.mean_power_w,
        measured: seen.measured,
        ambient_c: seen.ambient_c,
    }
}

pub(crate) fn banks(all: Vec<BankShown>, utc_offset_s: i32) -> Banks {
    let bank =
        |BankShown { whole: BankWhole { bank: told, run_downs }, usable_wh }: BankShown| Bank {
            id: told.id,
            cells: told.spec.cells.name(),
            series: told.spec.series,
            label_mah: told.spec.label.si() * 1000.0,
            label_v: told.spec.label_volts.si(),
            measured_at: told.spec.measured_at.name(),
            ambient_c: told.spec.ambient.map(reckon::units::Celsius::si),
            cutoff_v: told.spec.cutoff.map(reckon::units::Volts::si),
            name: told.spec.name,
            forgotten: told.forgotten,
            usable_wh: usable_wh.map(three),
            rundowns: run_downs.iter().map(|it| rundown(it, utc_offset_s)).collect(),
        };
    Banks { banks: all.into_iter().map(bank).collect() }
}

pub(crate) fn series(found: record::Series) -> Series {
    let mut channels = Channels::default();
    for (channel, seen) in found.channels {
        let place = match channel {
            Channel::Volts => &mut channels.volts_v,
            Channel::Amps => &mut channels.current_a,
            Channel::Watts => &mut channels.power_w,
            Channel::Modelled => &mut channels.modelled_w,
            Channel::Counted => &mut channels.counted_wh,
            Channel::Busy => &mut channels.cpu_busy,
            Channel::Temp => &mut channels.cpu_temp_c,
            Channel::Level => &mut channels.level,
        };
        let column = |pick: fn(Stats) -> f64| seen.iter().map(|it| it.map(pick)).collect();
        *place = Some(Folds {
            mean: column(|it| it.mean),
            min: column(|it| it.min),
            max: column(|it| it.max),
        });
    }
    Series { step_s: found.step_s, t_s: found.t_s, channels }
}
