//! JSON, version 1, of a snapshot. Fields are added, never renamed, never given another unit. Units
//! stand last in every name; times are RFC 3339, or seconds (`…_s`; those named `since_s`, `until_s`
//! count from boot, like `up_s`). Where a value is missing it is `null` and `…_gap` says why.

use reckon::{
    bank::BankSpec,
    belief::{QuestionView, Standing},
    energy_tally::RegressionLine,
    forecast::{Forecast, Outlook},
    power_off::PowerOff,
    reading::{
        Flow, Gap, GaugeReading, Program, Role, SourceIx, SourceReport, SourceState, Strain,
        SupplyReading, Via,
    },
    snapshot::{self, LogState, Snapshot, Verdict},
    time::{Mono, Stamp, Trust},
    units::{Amps, Celsius, Joules, Ohms, Seconds, Share, Volts, Watts},
    words,
};

use super::{
    names::{answer_name, part_name},
    object::{Object, gap_name, list, three},
};

const CLOCK_UNSET: &str = "clock_unset";

/// What the calendar says at a moment of boot time, if the clock may be believed now.
fn calendar(mono: Mono, at: Stamp) -> Option<String> {
    let ahead_s = mono.as_s() - at.mono.as_s();
    at.believed().and_then(|wall| wall.plus_s(ahead_s).rfc3339(at.utc_offset_s))
}

fn three_s<'a>(of: [Seconds; 3]) -> Object<'a> {
    three(of.map(Seconds::si))
}

/// The snapshot.
pub(crate) fn now(snapshot: &Snapshot) -> Object<'_> {
    let at = calendar(snapshot.at.mono, snapshot.at);
    let supply = &snapshot.supply;
    let draw = Object::new()
        .with("now_w", snapshot.draw.now.map(Watts::si))
        .with("lately_w", snapshot.draw.lately.map(Watts::si))
        .with("outing_w", snapshot.draw.outing.map(Watts::si))
        .with("basis", snapshot.draw.basis.name())
        .with("now_is_at_least", supply.at_least.is_some());
    let clock = Object::new()
        .or_why(["at", "at_gap"], at.clone(), CLOCK_UNSET)
        .with("trust", trust(snapshot.at.trust))
        .with("utc_offset_s", snapshot.at.utc_offset_s);
    Object::new()
        .or_why(["at", "at_gap"], at, CLOCK_UNSET)
        .with("up_s", snapshot.at.mono.as_s())
        .with("station", &snapshot.station)
        .with("demo", snapshot.demo.is_some())
        .with("outing", outing(snapshot))
        .with(
            "supply",
            Object::new()
                .electric(supply.volts, supply.current, supply.power)
                .with("source", supply.source.and_then(|ix| id(snapshot, ix)))
                .at_least(supply.at_least),
        )
        .with("draw", draw)
        .with("board", board(snapshot))
        .with("bank", bank(snapshot))
        .with("forecast", forecast(snapshot))
        .with("questions", list(snapshot.questions.iter().map(|it| question(it, snapshot))))
        .with("alarms", list(snapshot.alarms.iter().map(|it| alarm(it, snapshot))))
        .with("alarms_over", list(snapshot.ended_alarms.iter().map(|it| over(it, snapshot))))
        .with("power_off", power_off(snapshot))
        .with("log", log(&snapshot.log).with("choices_why", snapshot.unkept.as_deref()))
        .with("well", well(snapshot))
        .with("clock", clock)
        .with("channels", list(snapshot.supplies.iter().map(|it| channel(it, snapshot))))
        .with("gauges", list(snapshot.gauges.iter().map(|it| gauge(it, snapshot))))
        .with("programs", list(snapshot.programs.iter().map(program)))
        .with("fold", snapshot.fold.as_deref().map(fold))
        .with("load", snapshot.load.as_ref().map(load))
        .with("switched", snapshot.switched.as_deref().map(switched))
        .with("sources", list(snapshot.sources.iter().map(source)))
        .with("missed_sweeps", snapshot.missed_sweeps)
        .with("footprint", footprint(snapshot))
}

fn id(snapshot: &Snapshot, ix: SourceIx) -> Option<&String> {
    snapshot.sources.get(usize::from(ix.0)).map(|it| &it.id)
}

const fn trust(trust: Trust) -> &'static str {
    match trust {
        Trust::Synchronised => "synchronised",
        Trust::Phone => "phone",
        Trust::Unset => "unset",
    }
}

fn program(it: &Program) -> Object<'_> {
    Object::new().with("name", &it.name).with("cores_busy", it.cores_busy)
}

fn footprint(snapshot: &Snapshot) -> Object<'_> {
    Object::new()
        .with("cpu_share", snapshot.footprint.cpu_share)
        .with("resident_kib", snapshot.footprint.resident_kib)
        .with("wakeups_per_s", snapshot.footprint.wakeups_per_s)
        .with("power_w", snapshot.own_draw.map(|(own, _)| own.si()))
        .with("power_error_w", snapshot.own_draw.map(|(_, error)| error.si()))
}

/// A stretch of the measured draw, folded over the period of a timed mode.
fn fold(folded: &snapshot::Folded) -> Object<'_> {
    let found = &folded.fold;
    let part = |it: &reckon::fold::Part| {
        Object::new()
            .with("kind", part_name(it.kind))
            .with("power_w", it.watts.si())
            .with("time_share", it.time.part())
            .with("energy_share", it.share.part())
            .with("energy_wh", it.energy.wh())
            .with("begins_s", it.begins_s)
            .with("lasts_s", it.lasts_s)
            .with("bridged", it.bridged)
            .with("text", words::fold::part(it))
    };
    let curve = Object::new()
        .with("phase_s", list(found.curve.iter().map(|point| narrow(point.phase_s))))
        .with("power_w", list(found.curve.iter().map(|point| narrow(point.watts))));
    Object::new()
        .with("from_s", folded.from.as_s())
        .with("until_s", folded.to.as_s())
        .with("activity", folded.doing.as_ref())
        .with("period_s", found.period_s)
        .with("slot_s", found.slot_s)
        .with("mode", found.mode.map(|mode| mode.name))
        .with("chance", found.chance)
        .with("slots", found.slots)
        .with("slots_sent", found.slots_sent())
        .with("rests_on_s", found.seconds)
        .with("energy_wh", found.energy.wh())
        .with("parts", list(found.parts_apart().iter().map(part)))
        .with("curve", curve)
        .with("text", words::fold::fold(found))
}

#[expect(clippy::cast_possible_truncation, reason = "a drawing needs no more digits")]
const fn narrow(of: f64) -> f32 {
    of as f32
}

/// What the processor's load takes.
fn load(line: &RegressionLine) -> Object<'_> {
    Object::new()
        .with("idle_w", line.intercept)
        .with("idle_error_w", line.intercept_se)
        .with("all_cores_w", line.slope)
        .with("all_cores_error_w", line.slope_se)
        .with("rests_on_min", line.pairs)
}

fn switched(one: &snapshot::Switched) -> Object<'_> {
    Object::new()
        .with("mark", &one.mark)
        .with("at_s", one.at.as_s())
        .with("difference_w", one.difference.si())
        .with("difference_error_w", one.error.si())
        .with("text", words::fold::switched(one))
}

fn outing(snapshot: &Snapshot) -> Object<'_> {
    let began_at = calendar(snapshot.outing_began, snapshot.at);
    Object::new()
        .with("name", snapshot.outing.as_ref())
        .or_why(["began_at", "began_at_gap"], began_at, CLOCK_UNSET)
        .with("lasted_s", snapshot.bank.counted.si())
}

fn strain<'a>(strain: Strain) -> Object<'a> {
    Object::new()
        .with("undervoltage", strain.undervoltage)
        .with("capped", strain.capped)
        .with("throttled", strain.throttled)
        .with("soft_hot", strain.soft_hot)
}

fn board(snapshot: &Snapshot) -> Object<'_> {
    let (seen, facts) = (&snapshot.board, &snapshot.facts);
    let why = |gap: Option<Gap>| gap.map_or("", gap_name);
    let strain_now = seen.flags.ok().map(|flags| strain(flags.now));
    Object::new()
        .with("model", facts.model.as_ref())
        .with("cores", facts.cores)
        .with("memory_mib", facts.memory_mib)
        .with("kernel", facts.kernel.as_ref())
        .with("has_clock_battery", facts.has_rtc)
        .with("input_limit_a", facts.input_limit.map(Amps::si))
        .reading(["cpu_busy", "cpu_busy_gap"], seen.cpu_busy)
        .reading(["cpu_clock_hz", "cpu_clock_gap"], seen.cpu_clock)
        .reading(["temp_c", "temp_gap"], seen.temp)
        .or_why(
            ["undervoltage", "undervoltage_gap"],
            seen.undervoltage.ok(),
            why(seen.undervoltage.err()),
        )
        .with("undervoltage_times", snapshot.undervoltage_times)
        .reading(["input_v", "input_gap"], seen.input_volts)
        .reading(["rails_at_least_w", "rails_at_least_gap"], seen.rails_at_least)
        .or_why(["strain_now", "strain_now_gap"], strain_now, why(seen.flags.err()))
        .with("strain_seen", strain(snapshot.flags_seen))
        .with("notes", list(&facts.notes))
}

/// A bank as it was told.
pub(crate) fn spec(spec: &BankSpec) -> Object<'_> {
    Object::new()
        .with("name", &spec.name)
        .with("cells", spec.cells.name())
        .with("series", spec.series)
        .with("label_mah", spec.label.si() * 1000.0)
        .with("label_v", spec.label_volts.si())
        .with("measured_at", spec.measured_at.name())
        .with("ambient_c", spec.ambient.map(Celsius::si))
        .with("cutoff_v", spec.cutoff.map(Volts::si))
}

fn bank(snapshot: &Snapshot) -> Object<'_> {
    let bank = &snapshot.bank;
    Object::new()
        .with("connected", bank.spec.as_deref().map(spec))
        .with("choices", list(snapshot.bank_choices.iter().map(spec)))
        .with("delivered_wh", bank.delivered.wh())
        .with("bridged_wh", bank.bridged.wh())
        .with("over_range_wh", bank.over_range.wh())
        .with("delivered_is_at_least", bank.delivered_at_least())
        .with("usable_wh", bank.usable.map(|usable| three(usable.map(Joules::wh))))
        .with("learned_from", bank.learned_from)
}

/// What only the operator knows, and what may be answered.
fn question<'a>(view: &QuestionView, snapshot: &Snapshot) -> Object<'a> {
    let words::Asked { text, why, answers, holds } = words::asked(view, snapshot);
    let choice =
        |(answer, label, _)| Object::new().with("answer", answer_name(answer)).with("label", label);
    let standing = match view.standing {
        Standing::Open => "open",
        Standing::Inferred => "inferred",
        Standing::Said => "said",
    };
    Object::new()
        .with("id", view.question.name())
        .with("text", text)
        .with("why", why)
        .with("answers", list(answers.into_iter().map(choice)))
        .with("answered", view.answer.map(answer_name))
        .with("standing", standing)
        .with("holds", holds)
}

/// One of several remaining times, as long as it is not known which is true.
fn possibility(one: &snapshot::Possibility) -> Object<'_> {
    Object::new()
        .with("story", one.story.name())
        .with("weight", one.weight.part())
        .with("remaining_s", three_s(one.remaining))
}

fn forecast(snapshot: &Snapshot) -> Object<'_> {
    let (mut wants_s, mut last, mut last_since_s) = (None, None, None);
    let (lasts, remaining_gap): (Option<&Forecast>, _) = match &snapshot.outlook {
        Outlook::Lasts(forecast) => (Some(forecast), ""),
        Outlook::TooSoon { wants } => {
            wants_s = Some(wants.as_secs_f64());
            (None, "too_soon")
        }
        Outlook::NoBank => (None, "no_bank"),
        Outlook::NotDraining => (None, "not_draining"),
        Outlook::Blind { since, last: forecast } => {
            last = forecast.as_ref().map(|it| three_s(it.remaining));
            last_since_s = Some(since.as_s());
            (None, "blind")
        }
    };
    let ends = |it: &Forecast| Mono::at_s(it.made_at.as_s() + it.middle().si());
    let ends_at = lasts.and_then(|it| calendar(ends(it), snapshot.at));
    let ends_at_gap = if lasts.is_some() { CLOCK_UNSET } else { remaining_gap };
    let told = Object::new()
        .with("basis", lasts.map_or(snapshot.draw.basis, |it| it.basis).name())
        .with("remaining_s", lasts.map(|it| three_s(it.remaining)))
        .with("possibilities", list(snapshot.possibilities.iter().map(possibility)))
        .with("cautious_case_s", snapshot.cautious_case().map(three_s));
    let told = safe(told, snapshot, remaining_gap)
        .with("remaining_gap", lasts.is_none().then_some(remaining_gap))
        .with("wants_s", wants_s)
        .with("last_remaining_s", last)
        .with("last_since_s", last_since_s)
        .or_why(["ends_at", "ends_at_gap"], ends_at, ends_at_gap);
    finish(told, snapshot, remaining_gap)
        .with("activities", list(snapshot.activities.iter().map(|it| activity(it, snapshot))))
        .with("activity_by_itself", snapshot.activity_auto)
}

/// Until when it is safe.
fn safe<'a>(told: Object<'a>, snapshot: &Snapshot, remaining_gap: &'a str) -> Object<'a> {
    let safe_for = snapshot.cautious_case().map(|[low, ..]| low);
    let until = safe_for.map(|low| Mono::at_s(snapshot.at.mono.as_s() + low.si().clamp(0.0, 1e9)));
    let gap = if safe_for.is_some() { CLOCK_UNSET } else { remaining_gap };
    let until_at = until.and_then(|until| calendar(until, snapshot.at));
    told.with("safe_for_s", safe_for.map(Seconds::si))
        .or_why(["safe_until_at", "safe_until_at_gap"], until_at, gap)
        .with("safe_text", words::verdict(snapshot))
}

fn finish<'a>(told: Object<'a>, snapshot: &Snapshot, remaining_gap: &'a str) -> Object<'a> {
    let finish = snapshot.finish;
    let verdict = finish.and_then(|it| it.verdict).map(|verdict| match verdict {
        Verdict::Enough => "enough",
        Verdict::Tight => "tight",
        Verdict::Short => "short",
    });
    let chance_gap = match finish {
        None => "no_finish",
        Some(_) if remaining_gap.is_empty() => "too_soon",
        Some(_) => remaining_gap,
    };
    told.with("finish_at", finish.and_then(|it| calendar(it.at, snapshot.at)))
        .with("finish_in_s", finish.map(|it| it.at.as_s() - snapshot.at.mono.as_s()))
        .with("verdict", verdict)
        .or_why(
            ["chance_of_finish", "chance_of_finish_gap"],
            finish.and_then(|it| it.chance).map(Share::part),
            chance_gap,
        )
        .with("spare_s", finish.and_then(|it| it.spare).map(Seconds::si))
        .with("safe_spare_s", safe_spare(snapshot).map(Seconds::si))
}

fn safe_spare(snapshot: &Snapshot) -> Option<Seconds> {
    let ahead = snapshot.finish?.at.seconds_since(snapshot.at.mono);
    snapshot.cautious_case().map(|[low, ..]| low - ahead)
}

/// What is well, and what is not.
fn well<'a>(snapshot: &Snapshot) -> Object<'a> {
    let words::Well { line, parts } = words::well(snapshot);
    let part = |it: words::Part| {
        Object::new().with("name", it.name).with("text", it.state).with("well", it.well)
    };
    Object::new().with("line", line).with("parts", list(parts.into_iter().map(part)))
}

fn activity<'a>(it: &'a snapshot::ActivityView, snapshot: &Snapshot) -> Object<'a> {
    Object::new()
        .with("name", &it.name)
        .with("current", it.current)
        .with("by_rule", it.current && snapshot.activity_auto == Some(true))
        .with("usual_w", it.usual.map(Watts::si))
        .with("remaining_s", it.remaining.map(three_s))
        .with("safe_for_s", it.remaining.map(|[low, ..]| low.si()))
        .with("text", words::activity_left(it, snapshot.at))
}

fn alarm<'a>(alarm: &'a snapshot::Alarm, snapshot: &Snapshot) -> Object<'a> {
    let said = words::alarm(alarm, snapshot);
    Object::new()
        .with("about", alarm.about.name())
        .with("grade", alarm.about.grade().name())
        .with("line", words::strip(alarm, snapshot))
        .with("text", said.text)
        .with("meaning", said.meaning)
        .with("advice", said.advice)
        .with("since_s", alarm.since.as_s())
        .with("asleep_until_s", alarm.asleep_until.map(Mono::as_s))
}

fn over<'a>(one: &'a snapshot::EndedAlarm, snapshot: &Snapshot) -> Object<'a> {
    Object::new()
        .with("about", one.about.name())
        .with("text", words::over_line(one, snapshot))
        .with("ended_s", one.ended.as_s())
        .with("lasted_s", one.lasted.as_secs_f64())
}

fn power_off(snapshot: &Snapshot) -> Object<'_> {
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
    Object::new()
        .with("state", state)
        .with("switch_off_in_s", switch_off_in_s)
        .with("text", words::power_off_line(snapshot))
        .with("line", words::power_off_strip(snapshot))
}

fn log(log: &LogState) -> Object<'_> {
    let (state, last_line_s, why) = match log {
        LogState::Off => ("off", None, None),
        LogState::Kept { last } => ("kept", Some(last.as_s()), None),
        LogState::Stopped { why } => ("stopped", None, Some(why)),
    };
    Object::new().with("state", state).with("last_line_s", last_line_s).with("why", why)
}

fn channel<'a>(it: &SupplyReading, snapshot: &'a Snapshot) -> Object<'a> {
    Object::new()
        .with("source", id(snapshot, it.source))
        .electric(it.volts, it.amps, it.watts)
        .reading(["counted_wh", "counted_gap"], it.counted.unwrap_or(Err(Gap::Absent)))
        .with("looks", it.looks)
        .at_least(it.at_least)
}

fn gauge<'a>(it: &GaugeReading, snapshot: &'a Snapshot) -> Object<'a> {
    let flow = match it.flow {
        Flow::Draining => "draining",
        Flow::Charging => "charging",
        Flow::Resting => "resting",
        Flow::Unknown => "unknown",
    };
    Object::new()
        .with("source", id(snapshot, it.source))
        .reading(["volts_v", "volts_gap"], it.volts)
        .reading(["current_a", "current_gap"], it.amps)
        .reading(["level", "level_gap"], it.level)
        .reading(["energy_left_wh", "energy_left_gap"], it.energy_left)
        .reading(["temp_c", "temp_gap"], it.temp)
        .with("flow", flow)
}

fn source(report: &SourceReport) -> Object<'_> {
    let (state, silent_since_s, gap) = match report.state {
        SourceState::Live => ("live", None, None),
        SourceState::Silent { since, gap } => ("silent", Some(since.as_s()), Some(gap_name(gap))),
        SourceState::LeftAlone => ("left_alone", None, None),
    };
    let role = match report.role {
        Role::Bank => "bank",
        Role::Part => "part",
        Role::NotCounted => "not_counted",
    };
    Object::new()
        .with("id", &report.id)
        .with("title", &report.title)
        .with("via", via(report.via))
        .with("role", role)
        .with("state", state)
        .with("silent_since_s", silent_since_s)
        .with("gap", gap)
        .with("shunt_assumed_ohm", report.shunt.and_then(|it| it.assumed).map(Ohms::si))
        .with("shunt_told_ohm", report.shunt.and_then(|it| it.told).map(Ohms::si))
        .with("shunt_scale", report.shunt.map(|it| it.scale))
        .with("notes", list(&report.notes))
}

const fn via(via: Via) -> &'static str {
    match via {
        Via::Hwmon => "hwmon",
        Via::I2c => "i2c",
        Via::PowerSupply => "power_supply",
        Via::BoardFlags => "board_flags",
        Via::PowerAdc => "power_adc",
        Via::Thermal => "thermal",
        Via::Processor => "processor",
        Via::Programs => "programs",
        Via::Invented => "invented",
    }
}
