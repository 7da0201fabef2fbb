//! The JSON of the past, version 1. Names carry their units; members may be added, never renamed.

use reckon::{snapshot::Basis, time::Wall};
use serde::Serialize;

use crate::{
    BankTold, Ending, OutingLine, OutingTold, OutingsPage, RundownTold, SeriesTold,
    wire::time::rfc3339,
};

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
    kind: String,
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

pub(crate) const fn ending(ending: Ending) -> &'static str {
    match ending {
        Ending::Open => "open",
        Ending::SwitchedOff => "switched_off",
        Ending::Died => "died",
        Ending::PowerLost { .. } => "power_lost",
        Ending::Swapped => "swapped",
    }
}

fn at(wall: Option<Wall>, utc_offset_s: i32) -> Option<String> {
    wall.and_then(|wall| rfc3339(wall, utc_offset_s))
}

pub(crate) const fn three([p10, p50, p90]: [f64; 3]) -> Three {
    Three { p10, p50, p90 }
}

fn outing(line: OutingLine, utc_offset_s: i32) -> Outing {
    Outing {
        id: line.id,
        name: line.name,
        bank: line.bank,
        start_level: line.start_share,
        began_at: at(line.began, utc_offset_s),
        ended_at: at(line.ended, utc_offset_s),
        lasted_s: line.lasted_s,
        ended_within_s: line.ended_within_s,
        ending: ending(line.ending),
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

pub(crate) fn outings(page: OutingsPage, utc_offset_s: i32) -> Outings {
    let outings = page.outings.into_iter().map(|line| outing(line, utc_offset_s)).collect();
    Outings { outings, next: page.next }
}

pub(crate) fn outing_whole(told: OutingTold, utc_offset_s: i32) -> OutingWhole {
    let forecast = |it: crate::ForecastTold| Forecast {
        at_s: it.at_s,
        remaining_s: three(it.remaining_s),
        basis: match it.basis {
            Basis::Measured => "measured",
            Basis::Modelled => "modelled",
            Basis::Gauge => "gauge",
            Basis::Expected => "expected",
        },
    };
    OutingWhole {
        outing: outing(told.line, utc_offset_s),
        events: told
            .events
            .into_iter()
            .map(|it| Event { at_s: it.at_s, kind: it.kind, text: it.text })
            .collect(),
        gaps: told
            .gaps
            .into_iter()
            .map(|it| Gap { from_s: it.from_s, to_s: it.to_s, source: it.source, why: it.why })
            .collect(),
        forecasts: told.forecasts.into_iter().map(forecast).collect(),
        rundown: told.rundown.map(|it| rundown(it, utc_offset_s)),
    }
}

fn rundown(it: RundownTold, utc_offset_s: i32) -> Rundown {
    Rundown {
        id: it.id,
        bank_id: it.bank,
        outing_id: it.outing,
        name: it.name,
        began_at: at(it.began, utc_offset_s),
        whole: it.whole,
        struck: it.struck,
        start_level: it.start_share,
        lasted_s: it.lasted_s,
        longer_s: it.within_s,
        shorter_s: it.before_s,
        delivered_wh: it.delivered_wh,
        bridged_wh: it.bridged_wh,
        mean_power_w: it.mean_power_w,
        measured: it.measured,
        ambient_c: it.ambient_c,
    }
}

pub(crate) fn banks(all: Vec<(BankTold, Vec<RundownTold>)>, utc_offset_s: i32) -> Banks {
    let bank = |(told, rundowns): (BankTold, Vec<RundownTold>)| Bank {
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
        usable_wh: told.usable_wh.map(three),
        rundowns: rundowns.into_iter().map(|it| rundown(it, utc_offset_s)).collect(),
    };
    Banks { banks: all.into_iter().map(bank).collect() }
}

pub(crate) fn series(told: SeriesTold) -> Series {
    let mut channels = Channels::default();
    for one in told.channels {
        let place = match one.channel {
            crate::Channel::Volts => &mut channels.volts_v,
            crate::Channel::Amps => &mut channels.current_a,
            crate::Channel::Watts => &mut channels.power_w,
            crate::Channel::Modelled => &mut channels.modelled_w,
            crate::Channel::Counted => &mut channels.counted_wh,
            crate::Channel::Busy => &mut channels.cpu_busy,
            crate::Channel::Temp => &mut channels.cpu_temp_c,
            crate::Channel::Level => &mut channels.level,
        };
        *place = Some(Folds { mean: one.mean, min: one.min, max: one.max });
    }
    Series { step_s: told.step_s, t_s: told.t_s, channels }
}
