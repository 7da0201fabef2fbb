//! JSON, version 1: own structs, `From<&Snapshot>`. Fields are added, never renamed, never given
//! another unit. Units stand last in every name; times are RFC 3339, or seconds (`…_s`; those
//! named `since_s`, `until_s` count from boot, like `up_s`). Where a value is missing it is `null`
//! and `…_gap` says why.

use reckon::{
    bank::BankSpec,
    belief::{QuestionView, Standing},
    fold::Kind,
    forecast::{Forecast, Outlook},
    power_off::PowerOff,
    reading::{Flow, Gap, Got, Role, SourceIx, SourceReport, SourceState, Strain, Via},
    snapshot::{self, LogState, Snapshot, Verdict},
    time::{Mono, Stamp, Trust},
    units::{Amps, Celsius, Hertz, Joules, Seconds, Share, Volts, Watts},
    words,
};
use serde::Serialize;

use crate::{wire::names::answer_name, wire::time::rfc3339};

/// The snapshot.
#[derive(Serialize)]
pub(crate) struct Now {
    at: Option<String>,
    at_gap: Option<&'static str>,
    up_s: f64,
    station: String,
    demo: bool,
    outing: Outing,
    supply: Supply,
    draw: Draw,
    board: Board,
    bank: Bank,
    forecast: Outlooked,
    questions: Vec<Asked>,
    alarms: Vec<Alarm>,
    alarms_over: Vec<AlarmOver>,
    power_off: Off,
    log: Log,
    clock: Clock,
    channels: Vec<Channel>,
    gauges: Vec<Gauge>,
    programs: Vec<Program>,
    fold: Option<Fold>,
    load: Option<Load>,
    switched: Option<Switched>,
    sources: Vec<Source>,
    missed_sweeps: u64,
    footprint: Footprint,
}

/// What only the operator knows.
#[derive(Serialize)]
struct Asked {
    id: &'static str,
    text: String,
    why: String,
    answers: Vec<Choice>,
    answered: Option<String>,
    standing: &'static str,
    holds: Option<String>,
}

/// What may be answered.
#[derive(Serialize)]
struct Choice {
    answer: String,
    label: String,
}

/// One of several remaining times, as long as it is not known which is true.
#[derive(Serialize)]
struct Possibility {
    story: &'static str,
    weight: f64,
    remaining_s: Three,
}

/// A stretch of the measured draw folded over the period of a timed mode.
#[derive(Serialize)]
struct Fold {
    from_s: f64,
    until_s: f64,
    activity: Option<String>,
    period_s: f64,
    slot_s: f64,
    mode: Option<&'static str>,
    chance: f64,
    slots: u32,
    slots_sent: u32,
    rests_on_s: f64,
    energy_wh: f64,
    parts: Vec<Part>,
    curve: Curve,
    text: String,
}

#[derive(Serialize)]
struct Part {
    kind: &'static str,
    power_w: f64,
    time_share: f64,
    energy_share: f64,
    energy_wh: f64,
    begins_s: f64,
    lasts_s: f64,
    bridged: bool,
    text: String,
}

/// Single precision: it is only drawn, and goes out every second.
#[derive(Serialize)]
struct Curve {
    phase_s: Vec<f32>,
    power_w: Vec<f32>,
}

/// What the processor's load takes.
#[derive(Serialize)]
struct Load {
    idle_w: f64,
    idle_error_w: f64,
    all_cores_w: f64,
    all_cores_error_w: f64,
    rests_on_min: f64,
}

/// An accessory switched by a mark.
#[derive(Serialize)]
struct Switched {
    mark: String,
    at_s: f64,
    difference_w: f64,
    difference_error_w: f64,
    text: String,
}

#[derive(Serialize)]
struct AlarmOver {
    about: &'static str,
    text: String,
    ended_s: f64,
    lasted_s: f64,
}

#[derive(Serialize)]
struct Off {
    state: &'static str,
    switch_off_in_s: Option<f64>,
    text: String,
}

#[derive(Serialize)]
struct Outing {
    name: Option<String>,
    began_at: Option<String>,
    began_at_gap: Option<&'static str>,
    lasted_s: f64,
}

#[derive(Serialize)]
struct Supply {
    volts_v: Option<f64>,
    volts_gap: Option<&'static str>,
    current_a: Option<f64>,
    current_gap: Option<&'static str>,
    power_w: Option<f64>,
    power_gap: Option<&'static str>,
    source: Option<String>,
}

#[derive(Serialize)]
struct Draw {
    now_w: Option<f64>,
    lately_w: Option<f64>,
    outing_w: Option<f64>,
    basis: &'static str,
}

#[derive(Serialize)]
struct Board {
    model: Option<String>,
    cores: Option<u16>,
    memory_mib: Option<u32>,
    kernel: Option<String>,
    has_clock_battery: bool,
    input_limit_a: Option<f64>,
    cpu_busy: Option<f64>,
    cpu_busy_gap: Option<&'static str>,
    cpu_clock_hz: Option<f64>,
    cpu_clock_gap: Option<&'static str>,
    temp_c: Option<f64>,
    temp_gap: Option<&'static str>,
    undervoltage: Option<bool>,
    undervoltage_gap: Option<&'static str>,
    undervoltage_times: u32,
    input_v: Option<f64>,
    input_gap: Option<&'static str>,
    rails_at_least_w: Option<f64>,
    rails_at_least_gap: Option<&'static str>,
    strain_now: Option<Strained>,
    strain_now_gap: Option<&'static str>,
    strain_seen: Strained,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct Strained {
    undervoltage: bool,
    capped: bool,
    throttled: bool,
    soft_hot: bool,
}

#[derive(Serialize)]
struct Bank {
    connected: Option<Spec>,
    choices: Vec<Spec>,
    delivered_wh: f64,
    bridged_wh: f64,
    usable_wh: Option<Three>,
    learned_from: u32,
}

#[derive(Serialize)]
struct Spec {
    name: String,
    cells: &'static str,
    series: u8,
    label_mah: f64,
    label_v: f64,
    measured_at: &'static str,
    ambient_c: Option<f64>,
    cutoff_v: Option<f64>,
}

/// 10 %, 50 %, 90 % of one distribution.
#[derive(Serialize)]
struct Three {
    p10: f64,
    p50: f64,
    p90: f64,
}

#[derive(Serialize)]
struct Outlooked {
    basis: &'static str,
    remaining_s: Option<Three>,
    possibilities: Vec<Possibility>,
    remaining_gap: Option<&'static str>,
    wants_s: Option<f64>,
    last_remaining_s: Option<Three>,
    last_since_s: Option<f64>,
    ends_at: Option<String>,
    ends_at_gap: Option<&'static str>,
    finish_at: Option<String>,
    finish_in_s: Option<f64>,
    verdict: Option<&'static str>,
    chance_of_finish: Option<f64>,
    chance_of_finish_gap: Option<&'static str>,
    spare_s: Option<f64>,
    activities: Vec<Activity>,
    activity_by_itself: Option<bool>,
}

#[derive(Serialize)]
struct Activity {
    name: String,
    current: bool,
    by_rule: bool,
    usual_w: Option<f64>,
    remaining_s: Option<Three>,
}

#[derive(Serialize)]
struct Alarm {
    about: &'static str,
    text: String,
    meaning: String,
    advice: String,
    since_s: f64,
    asleep_until_s: Option<f64>,
}

#[derive(Serialize)]
struct Log {
    state: &'static str,
    last_line_s: Option<f64>,
    why: Option<String>,
}

#[derive(Serialize)]
struct Clock {
    at: Option<String>,
    at_gap: Option<&'static str>,
    trust: &'static str,
    utc_offset_s: i32,
}

#[derive(Serialize)]
struct Channel {
    source: Option<String>,
    volts_v: Option<f64>,
    volts_gap: Option<&'static str>,
    current_a: Option<f64>,
    current_gap: Option<&'static str>,
    power_w: Option<f64>,
    power_gap: Option<&'static str>,
    counted_wh: Option<f64>,
    counted_gap: Option<&'static str>,
    looks: u16,
}

#[derive(Serialize)]
struct Gauge {
    source: Option<String>,
    volts_v: Option<f64>,
    volts_gap: Option<&'static str>,
    current_a: Option<f64>,
    current_gap: Option<&'static str>,
    level: Option<f64>,
    level_gap: Option<&'static str>,
    energy_left_wh: Option<f64>,
    energy_left_gap: Option<&'static str>,
    temp_c: Option<f64>,
    temp_gap: Option<&'static str>,
    flow: &'static str,
}

#[derive(Serialize)]
struct Program {
    name: String,
    cores_busy: f64,
}

#[derive(Serialize)]
struct Source {
    id: String,
    title: String,
    via: &'static str,
    role: &'static str,
    state: &'static str,
    silent_since_s: Option<f64>,
    gap: Option<&'static str>,
    shunt_assumed_ohm: Option<f64>,
    shunt_told_ohm: Option<f64>,
    shunt_scale: Option<f64>,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct Footprint {
    cpu_share: Option<f64>,
    resident_kib: Option<u64>,
    wakeups_per_s: Option<f64>,
    power_w: Option<f64>,
    power_error_w: Option<f64>,
}

/// A quantity's bare number and the reason for its absence, one of them `None`.
fn split<T: Si>(got: Got<T>) -> (Option<f64>, Option<&'static str>) {
    match got {
        Ok(value) => (Some(value.bare()), None),
        Err(gap) => (None, Some(gap_name(gap))),
    }
}

trait Si {
    fn bare(self) -> f64;
}

macro_rules! bare {
    ($($name:ident: $read:ident),*) => { $(impl Si for $name { fn bare(self) -> f64 { self.$read() } })* };
}
bare!(Volts: si, Amps: si, Watts: si, Celsius: si, Hertz: si, Joules: wh, Share: part);

pub(crate) const fn gap_name(gap: Gap) -> &'static str {
    match gap {
        Gap::Absent => "absent",
        Gap::NotMeasurable => "not_measurable",
        Gap::SwitchedOff => "switched_off",
        Gap::NotReady => "not_ready",
        Gap::NoAnswer => "no_answer",
        Gap::Gone => "gone",
        Gap::Denied => "denied",
        Gap::Garbled => "garbled",
        Gap::Implausible => "implausible",
        Gap::OverRange => "over_range",
        Gap::Resetting => "resetting",
        Gap::Late => "late",
    }
}

const CLOCK_UNSET: &str = "clock_unset";

/// What the calendar says at a moment of boot time, if the clock may be believed now.
fn calendar(mono: Mono, at: Stamp) -> (Option<String>, Option<&'static str>) {
    let ahead_s = mono.as_s() - at.mono.as_s();
    match at.believed().and_then(|wall| rfc3339(wall.plus_s(ahead_s), at.utc_offset_s)) {
        Some(text) => (Some(text), None),
        None => (None, Some(CLOCK_UNSET)),
    }
}

fn three_s(of: [Seconds; 3]) -> Three {
    let [p10, p50, p90] = of.map(Seconds::si);
    Three { p10, p50, p90 }
}

impl From<&Snapshot> for Now {
    fn from(snapshot: &Snapshot) -> Self {
        let (at, at_gap) = calendar(snapshot.at.mono, snapshot.at);
        let id = |ix: SourceIx| snapshot.sources.get(usize::from(ix.0)).map(|it| it.id.clone());
        let (volts_v, volts_gap) = split(snapshot.supply.volts);
        let (current_a, current_gap) = split(snapshot.supply.current);
        let (power_w, power_gap) = split(snapshot.supply.power);
        Self {
            at: at.clone(),
            at_gap,
            up_s: snapshot.at.mono.as_s(),
            station: snapshot.station.clone(),
            demo: snapshot.demo,
            outing: outing(snapshot),
            supply: Supply {
                volts_v,
                volts_gap,
                current_a,
                current_gap,
                power_w,
                power_gap,
                source: snapshot.supply.source.and_then(id),
            },
            draw: Draw {
                now_w: snapshot.draw.now.map(Watts::si),
                lately_w: snapshot.draw.lately.map(Watts::si),
                outing_w: snapshot.draw.outing.map(Watts::si),
                basis: snapshot.draw.basis.name(),
            },
            board: board(snapshot),
            bank: bank(snapshot),
            forecast: outlooked(snapshot),
            questions: snapshot.questions.iter().map(|it| asked(it, snapshot)).collect(),
            alarms: snapshot.alarms.iter().map(|it| alarm(it, snapshot)).collect(),
            alarms_over: snapshot.ended_alarms.iter().map(|it| over(it, snapshot)).collect(),
            power_off: off(snapshot),
            log: log(&snapshot.log),
            clock: Clock {
                at,
                at_gap,
                trust: trust(snapshot.at.trust),
                utc_offset_s: snapshot.at.utc_offset_s,
            },
            channels: channels(snapshot),
            gauges: gauges(snapshot),
            programs: programs(snapshot),
            fold: snapshot.fold.as_deref().map(fold),
            load: snapshot.load.as_ref().map(load),
            switched: snapshot.switched.as_deref().map(switched),
            sources: snapshot.sources.iter().map(source).collect(),
            missed_sweeps: snapshot.missed_sweeps,
            footprint: footprint(snapshot),
        }
    }
}

const fn trust(trust: Trust) -> &'static str {
    match trust {
        Trust::Synchronised => "synchronised",
        Trust::Phone => "phone",
        Trust::Unset => "unset",
    }
}

fn footprint(snapshot: &Snapshot) -> Footprint {
    Footprint {
        cpu_share: snapshot.footprint.cpu_share,
        resident_kib: snapshot.footprint.resident_kib,
        wakeups_per_s: snapshot.footprint.wakeups_per_s,
        power_w: snapshot.own_draw.map(|(own, _)| own.si()),
        power_error_w: snapshot.own_draw.map(|(_, error)| error.si()),
    }
}

fn programs(snapshot: &Snapshot) -> Vec<Program> {
    let program = |it: &reckon::reading::Program| Program {
        name: it.name.clone(),
        cores_busy: it.cores_busy,
    };
    snapshot.programs.iter().map(program).collect()
}

fn fold(folded: &snapshot::Folded) -> Fold {
    let found = &folded.fold;
    let part = |it: &reckon::fold::Part| Part {
        kind: match it.kind {
            Kind::Receive => "receive",
            Kind::Transmit => "transmit",
            Kind::Decode => "decode",
        },
        power_w: it.watts.si(),
        time_share: it.time.part(),
        energy_share: it.share.part(),
        energy_wh: it.energy.wh(),
        begins_s: it.begins_s,
        lasts_s: it.lasts_s,
        bridged: it.bridged,
        text: words::fold::part(it),
    };
    Fold {
        from_s: folded.from.as_s(),
        until_s: folded.to.as_s(),
        activity: folded.doing.clone(),
        period_s: found.period_s,
        slot_s: found.slot_s,
        mode: found.mode.map(|mode| mode.name),
        chance: found.chance,
        slots: found.slots,
        slots_sent: found.sent,
        rests_on_s: found.seconds,
        energy_wh: found.energy.wh(),
        parts: found.parts.iter().map(part).collect(),
        curve: Curve {
            phase_s: found.curve.iter().map(|point| narrow(point.phase_s)).collect(),
            power_w: found.curve.iter().map(|point| narrow(point.watts)).collect(),
        },
        text: words::fold::fold(found),
    }
}

#[expect(clippy::cast_possible_truncation, reason = "a drawing needs no more digits")]
const fn narrow(of: f64) -> f32 {
    of as f32
}

const fn load(line: &reckon::energy_tally::RegressionLine) -> Load {
    Load {
        idle_w: line.intercept,
        idle_error_w: line.intercept_se,
        all_cores_w: line.slope,
        all_cores_error_w: line.slope_se,
        rests_on_min: line.pairs,
    }
}

fn switched(one: &snapshot::Switched) -> Switched {
    Switched {
        mark: one.mark.clone(),
        at_s: one.at.as_s(),
        difference_w: one.difference.si(),
        difference_error_w: one.error.si(),
        text: words::fold::switched(one),
    }
}

fn outing(snapshot: &Snapshot) -> Outing {
    let (began_at, began_at_gap) = calendar(snapshot.outing_began, snapshot.at);
    let lasted_s = snapshot.bank.counted.si();
    Outing { name: snapshot.outing.clone(), began_at, began_at_gap, lasted_s }
}

const fn strained(strain: Strain) -> Strained {
    let Strain { undervoltage, capped, throttled, soft_hot } = strain;
    Strained { undervoltage, capped, throttled, soft_hot }
}

fn board(snapshot: &Snapshot) -> Board {
    let (seen, facts) = (&snapshot.board, &snapshot.facts);
    let (cpu_busy, cpu_busy_gap) = split(seen.cpu_busy);
    let (cpu_clock_hz, cpu_clock_gap) = split(seen.cpu_clock);
    let (temp_c, temp_gap) = split(seen.temp);
    let (input_v, input_gap) = split(seen.input_volts);
    let (rails_at_least_w, rails_at_least_gap) = split(seen.rails_at_least);
    Board {
        model: facts.model.clone(),
        cores: facts.cores,
        memory_mib: facts.memory_mib,
        kernel: facts.kernel.clone(),
        has_clock_battery: facts.has_rtc,
        input_limit_a: facts.input_limit.map(Amps::si),
        cpu_busy,
        cpu_busy_gap,
        cpu_clock_hz,
        cpu_clock_gap,
        temp_c,
        temp_gap,
        undervoltage: seen.undervoltage.ok(),
        undervoltage_gap: seen.undervoltage.err().map(gap_name),
        undervoltage_times: snapshot.undervoltage_times,
        input_v,
        input_gap,
        rails_at_least_w,
        rails_at_least_gap,
        strain_now: seen.flags.ok().map(|flags| strained(flags.now)),
        strain_now_gap: seen.flags.err().map(gap_name),
        strain_seen: strained(snapshot.flags_seen),
        notes: facts.notes.clone(),
    }
}

fn spec(spec: &BankSpec) -> Spec {
    Spec {
        name: spec.name.clone(),
        cells: spec.cells.name(),
        series: spec.series,
        label_mah: spec.label.si() * 1000.0,
        label_v: spec.label_volts.si(),
        measured_at: spec.measured_at.name(),
        ambient_c: spec.ambient.map(Celsius::si),
        cutoff_v: spec.cutoff.map(Volts::si),
    }
}

fn bank(snapshot: &Snapshot) -> Bank {
    let bank = &snapshot.bank;
    Bank {
        connected: bank.spec.as_deref().map(spec),
        choices: snapshot.bank_choices.iter().map(spec).collect(),
        delivered_wh: bank.delivered.wh(),
        bridged_wh: bank.bridged.wh(),
        usable_wh: bank.usable.map(|usable| {
            let [p10, p50, p90] = usable.map(Joules::wh);
            Three { p10, p50, p90 }
        }),
        learned_from: bank.learned_from,
    }
}

fn asked(view: &QuestionView, snapshot: &Snapshot) -> Asked {
    let words::Asked { text, why, answers, holds } = words::asked(view, snapshot);
    let choice = |(answer, label, _)| Choice { answer: answer_name(answer), label };
    Asked {
        id: view.question.name(),
        text,
        why,
        answers: answers.into_iter().map(choice).collect(),
        answered: view.answer.map(answer_name),
        standing: match view.standing {
            Standing::Open => "open",
            Standing::Inferred => "inferred",
            Standing::Said => "said",
        },
        holds,
    }
}

fn possibility(one: &snapshot::Possibility) -> Possibility {
    Possibility {
        story: one.story.name(),
        weight: one.weight.part(),
        remaining_s: three_s(one.remaining),
    }
}

fn outlooked(snapshot: &Snapshot) -> Outlooked {
    let (mut wants_s, mut last, mut last_since_s) = (None, None, None);
    let (lasts, remaining_gap): (Option<&Forecast>, _) = match &snapshot.outlook {
        Outlook::Lasts(forecast) => (Some(forecast), None),
        Outlook::TooSoon { wants } => {
            wants_s = Some(wants.as_secs_f64());
            (None, Some("too_soon"))
        }
        Outlook::NoBank => (None, Some("no_bank")),
        Outlook::NotDraining => (None, Some("not_draining")),
        Outlook::Blind { since, last: forecast } => {
            last = forecast.as_ref().map(|it| three_s(it.remaining));
            last_since_s = Some(since.as_s());
            (None, Some("blind"))
        }
    };
    let (ends_at, ends_at_gap) = match lasts {
        Some(it) => {
            let left = it.middle().si();
            calendar(Mono::at_s(it.made_at.as_s() + left), snapshot.at)
        }
        None => (None, remaining_gap),
    };
    let finish = snapshot.finish;
    let chance = finish.and_then(|it| it.chance);
    Outlooked {
        basis: lasts.map_or(snapshot.draw.basis, |it| it.basis).name(),
        remaining_s: lasts.map(|it| three_s(it.remaining)),
        possibilities: snapshot.possibilities.iter().map(possibility).collect(),
        remaining_gap,
        wants_s,
        last_remaining_s: last,
        last_since_s,
        ends_at,
        ends_at_gap,
        finish_at: finish.and_then(|it| calendar(it.at, snapshot.at).0),
        finish_in_s: finish.map(|it| it.at.as_s() - snapshot.at.mono.as_s()),
        verdict: finish.and_then(|it| it.verdict).map(|verdict| match verdict {
            Verdict::Enough => "enough",
            Verdict::Tight => "tight",
            Verdict::Short => "short",
        }),
        chance_of_finish: chance.map(Share::part),
        chance_of_finish_gap: match (finish, chance) {
            (_, Some(_)) => None,
            (None, None) => Some("no_finish"),
            (Some(_), None) => Some(remaining_gap.unwrap_or("too_soon")),
        },
        spare_s: finish.and_then(|it| it.spare).map(Seconds::si),
        activities: activities(snapshot),
        activity_by_itself: snapshot.activity_auto,
    }
}

fn activities(snapshot: &Snapshot) -> Vec<Activity> {
    let one = |it: &snapshot::ActivityView| Activity {
        name: it.name.clone(),
        current: it.current,
        by_rule: it.current && snapshot.activity_auto == Some(true),
        usual_w: it.usual.map(Watts::si),
        remaining_s: it.remaining.map(three_s),
    };
    snapshot.activities.iter().map(one).collect()
}

fn alarm(alarm: &reckon::snapshot::Alarm, snapshot: &Snapshot) -> Alarm {
    let said = words::alarm(alarm, snapshot);
    Alarm {
        about: alarm.about.name(),
        text: said.text,
        meaning: said.meaning,
        advice: said.advice,
        since_s: alarm.since.as_s(),
        asleep_until_s: alarm.asleep_until.map(Mono::as_s),
    }
}

fn over(one: &reckon::snapshot::EndedAlarm, snapshot: &Snapshot) -> AlarmOver {
    AlarmOver {
        about: one.about.name(),
        text: words::over_line(one, snapshot),
        ended_s: one.ended.as_s(),
        lasted_s: one.lasted.as_secs_f64(),
    }
}

fn off(snapshot: &Snapshot) -> Off {
    let mut switch_off_in_s = None;
    let state = match snapshot.power_off {
        PowerOff::Unwanted => "unwanted",
        PowerOff::NoUnit => "no_unit",
        PowerOff::Watching { .. } => "watching",
        PowerOff::Counting { until, .. } => {
            switch_off_in_s = Some(until.seconds_since(snapshot.at.mono).si());
            "counting"
        }
        PowerOff::Unsure { .. } => "unsure",
        PowerOff::Stopped { .. } => "stopped",
        PowerOff::Saving { .. } => "saving",
        PowerOff::Closing { .. } => "closing",
        PowerOff::Asked { .. } => "asked",
        PowerOff::Failed { .. } => "failed",
    };
    Off { state, switch_off_in_s, text: words::power_off_line(snapshot) }
}

fn log(log: &LogState) -> Log {
    match log {
        LogState::Off => Log { state: "off", last_line_s: None, why: None },
        LogState::Kept { last } => Log { state: "kept", last_line_s: Some(last.as_s()), why: None },
        LogState::Stopped { why } => {
            Log { state: "stopped", last_line_s: None, why: Some(why.clone()) }
        }
    }
}

fn channels(snapshot: &Snapshot) -> Vec<Channel> {
    let one = |it: &reckon::reading::SupplyReading| {
        let (volts_v, volts_gap) = split(it.volts);
        let (current_a, current_gap) = split(it.amps);
        let (power_w, power_gap) = split(it.watts);
        let (counted_wh, counted_gap) = split(it.counted.unwrap_or(Err(Gap::Absent)));
        Channel {
            source: snapshot.sources.get(usize::from(it.source.0)).map(|it| it.id.clone()),
            volts_v,
            volts_gap,
            current_a,
            current_gap,
            power_w,
            power_gap,
            counted_wh,
            counted_gap,
            looks: it.looks,
        }
    };
    snapshot.supplies.iter().map(one).collect()
}

fn gauges(snapshot: &Snapshot) -> Vec<Gauge> {
    let one = |it: &reckon::reading::GaugeReading| {
        let (volts_v, volts_gap) = split(it.volts);
        let (current_a, current_gap) = split(it.amps);
        let (level, level_gap) = split(it.level);
        let (energy_left_wh, energy_left_gap) = split(it.energy_left);
        let (temp_c, temp_gap) = split(it.temp);
        Gauge {
            source: snapshot.sources.get(usize::from(it.source.0)).map(|it| it.id.clone()),
            volts_v,
            volts_gap,
            current_a,
            current_gap,
            level,
            level_gap,
            energy_left_wh,
            energy_left_gap,
            temp_c,
            temp_gap,
            flow: match it.flow {
                Flow::Draining => "draining",
                Flow::Charging => "charging",
                Flow::Resting => "resting",
                Flow::Unknown => "unknown",
            },
        }
    };
    snapshot.gauges.iter().map(one).collect()
}

fn source(report: &SourceReport) -> Source {
    let (state, silent_since_s, gap) = match report.state {
        SourceState::Live => ("live", None, None),
        SourceState::Silent { since, gap } => ("silent", Some(since.as_s()), Some(gap_name(gap))),
        SourceState::LeftAlone => ("left_alone", None, None),
    };
    let via = match report.via {
        Via::Hwmon => "hwmon",
        Via::I2c => "i2c",
        Via::PowerSupply => "power_supply",
        Via::BoardFlags => "board_flags",
        Via::PowerAdc => "power_adc",
        Via::Thermal => "thermal",
        Via::Processor => "processor",
        Via::Programs => "programs",
        Via::Invented => "invented",
    };
    Source {
        id: report.id.clone(),
        title: report.title.clone(),
        via,
        role: match report.role {
            Role::Bank => "bank",
            Role::Part => "part",
            Role::NotCounted => "not_counted",
        },
        state,
        silent_since_s,
        gap,
        shunt_assumed_ohm: report.shunt.and_then(|it| it.assumed).map(reckon::units::Ohms::si),
        shunt_told_ohm: report.shunt.and_then(|it| it.told).map(reckon::units::Ohms::si),
        shunt_scale: report.shunt.map(|it| it.scale),
        notes: report.notes.clone(),
    }
}
