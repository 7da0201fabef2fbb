//! The JSON of an outing's report, version 1: all that the outing's own JSON has, and `report`.
//! Names carry their units; members may be added, never renamed. Call signs are never in it.

use reckon::{
    energy_tally::{EnergyTally, OutingTally},
    fold::{Kind, Part, Total},
    record,
    report::{
        BankTally, ForecastOutcome, Forecasts, LearnedStep, MinMeanMax, OutingReport, Report, Truth,
    },
    units::{Celsius, Joules, Seconds, Share, Volts, Watts},
    words,
};
use serde::Serialize;

use crate::wire::past::{OutingWhole, Three, outing_whole, three};

#[derive(Serialize)]
pub(crate) struct Whole {
    #[serde(flatten)]
    outing: OutingWhole,
    report: Taken,
}

#[derive(Serialize)]
struct Taken {
    energy: Energy,
    load: Option<Load>,
    load_gap: Option<&'static str>,
    temp: Option<Temp>,
    temp_gap: Option<&'static str>,
    volts: Option<Supply>,
    volts_gap: Option<&'static str>,
    folds: Vec<Fold>,
    contacts: Option<Contacts>,
    contacts_gap: Option<&'static str>,
    undated_s: Option<f64>,
    marks: Vec<Mark>,
    truth: Ended,
    forecasts: Vec<Judged>,
    forecasts_judged: usize,
    forecasts_held: usize,
    middle_off_s: Option<f64>,
    middle_off_share: Option<f64>,
    middle_off_gap: Option<&'static str>,
    learned: Option<Learned>,
    learned_gap: Option<&'static str>,
    doings: Vec<Doing>,
    corrections: Vec<Correction>,
}

#[derive(Serialize)]
struct Energy {
    whole: Paged,
    activities: Vec<Named>,
    untold: Paged,
    hours: Vec<Hour>,
    /// `p95_w` is of means over so long.
    means_of_s: f64,
    modelled_wh: f64,
    modelled_s: f64,
    silent_s: f64,
}

/// What a bank gave.
#[derive(Serialize)]
pub(crate) struct BankBook {
    bank: String,
    /// So many of its outings are in it, the newest, of `of_outings`.
    outings: usize,
    of_outings: usize,
    means_of_s: f64,
    whole: Paged,
    activities: Vec<Named>,
    untold: Paged,
}

#[derive(Serialize)]
struct Paged {
    energy_wh: f64,
    lasted_s: f64,
    mean_power_w: Option<f64>,
    mean_power_gap: Option<&'static str>,
    p95_power_w: Option<f64>,
    peak_power_w: Option<f64>,
}

#[derive(Serialize)]
struct Named {
    name: String,
    #[serde(flatten)]
    page: Paged,
}

#[derive(Serialize)]
struct Hour {
    from_s: u64,
    #[serde(flatten)]
    page: Paged,
}

#[derive(Serialize)]
struct Load {
    idle_w: f64,
    full_load_more_w: f64,
    full_load_more_error_w: f64,
    explained_share: f64,
    taken_wh: Option<f64>,
    taken_error_wh: Option<f64>,
    taken_gap: Option<&'static str>,
}

#[derive(Serialize)]
struct Temp {
    min_c: f64,
    mean_c: f64,
    max_c: f64,
}

#[derive(Serialize)]
struct Supply {
    min_v: f64,
    mean_v: f64,
    max_v: f64,
}

#[derive(Serialize)]
struct Fold {
    slot_s: f64,
    period_s: f64,
    mode: Option<&'static str>,
    lasted_s: f64,
    energy_wh: f64,
    receive_wh: f64,
    transmit_wh: f64,
    decode_wh: f64,
    slots_sent: u32,
    /// Of the latest stretch that was folded.
    parts: Vec<Parted>,
    curve: Curve,
}

#[derive(Serialize)]
struct Parted {
    kind: &'static str,
    power_w: f64,
    begins_s: f64,
    lasts_s: f64,
    bridged: bool,
}

#[derive(Serialize)]
struct Curve {
    phase_s: Vec<f64>,
    power_w: Vec<f64>,
}

#[derive(Serialize)]
struct Contacts {
    contacts: u32,
    elsewhere: u32,
    in_contact_s: f64,
    in_contact_wh: f64,
    energy_each_wh: Option<f64>,
    own_energy_each_wh: Option<f64>,
    in_contact_w: Option<f64>,
    between_w: Option<f64>,
    contacts_per_h: Option<f64>,
    still_possible: Option<Three>,
    still_possible_gap: Option<&'static str>,
    groups: Vec<Group>,
}

#[derive(Serialize)]
struct Group {
    band: Option<&'static str>,
    mode: Option<String>,
    contacts: u32,
    in_contact_s: f64,
    in_contact_wh: f64,
    in_contact_w: Option<f64>,
}

#[derive(Serialize)]
struct Mark {
    at_s: f64,
    text: String,
    more_w: f64,
    error_w: f64,
}

#[derive(Serialize)]
struct Ended {
    /// `open`, `died` or `at_least`.
    known: &'static str,
    lasted_s: f64,
    within_s: f64,
}

#[derive(Serialize)]
struct Judged {
    at_s: f64,
    remaining_s: Three,
    basis: &'static str,
    came_s: Option<f64>,
    came_at_least_s: Option<f64>,
    came_gap: Option<&'static str>,
    /// `held`, `sooner`, `later` or `open`.
    outcome: &'static str,
    middle_off_s: Option<f64>,
}

#[derive(Serialize)]
struct Learned {
    before_wh: Three,
    after_wh: Three,
}

#[derive(Serialize)]
struct Doing {
    from_s: f64,
    to_s: f64,
    activity: Option<String>,
}

#[derive(Serialize)]
struct Correction {
    id: i64,
    from_s: f64,
    to_s: f64,
    activity: Option<String>,
    /// `operator` or `contacts`.
    origin: &'static str,
}

/// The reason, where the value is missing.
const fn gap<T>(value: Option<&T>, why: &'static str) -> Option<&'static str> {
    if value.is_some() { None } else { Some(why) }
}

fn page(page: &EnergyTally) -> Paged {
    let mean = page.mean().map(Watts::si);
    Paged {
        energy_wh: page.energy().wh(),
        lasted_s: page.lasted().si(),
        p95_power_w: page.p95().map(Watts::si),
        peak_power_w: mean.map(|_| page.peak().si()),
        mean_power_gap: gap(mean.as_ref(), words::missing::NOTHING_READ),
        mean_power_w: mean,
    }
}

fn activities(book: &OutingTally) -> Vec<Named> {
    book.activities().map(|(name, of)| Named { name: name.to_owned(), page: page(of) }).collect()
}

pub(crate) fn bank_book(told: &BankTally) -> BankBook {
    BankBook {
        bank: told.bank.clone(),
        outings: told.outings,
        of_outings: told.of,
        means_of_s: told.coarsest_s,
        whole: page(told.tally.whole()),
        activities: activities(&told.tally),
        untold: page(told.tally.untagged()),
    }
}

fn energy(report: &Report) -> Energy {
    let book = &report.tally;
    let hours = (0_u64..).zip(book.hours());
    Energy {
        whole: page(book.whole()),
        activities: activities(book),
        untold: page(book.untagged()),
        hours: hours.map(|(ix, of)| Hour { from_s: ix * 3600, page: page(of) }).collect(),
        means_of_s: report.coarsest.si(),
        modelled_wh: report.modelled.energy().wh(),
        modelled_s: report.modelled.lasted().si(),
        silent_s: report.silent.si(),
    }
}

fn load(report: &Report) -> Option<Load> {
    report.load.map(|load| Load {
        idle_w: load.line.intercept,
        full_load_more_w: load.line.slope,
        full_load_more_error_w: load.line.slope_se,
        explained_share: load.line.explained.part(),
        taken_wh: load.taken.map(|(taken, _)| taken.wh()),
        taken_error_wh: load.taken.map(|(_, error)| error.wh()),
        taken_gap: gap(load.taken.as_ref(), words::missing::LOAD_TOO_EVEN),
    })
}

const fn temp(seen: MinMeanMax<Celsius>) -> Temp {
    Temp { min_c: seen.low.si(), mean_c: seen.mean.si(), max_c: seen.high.si() }
}

const fn supply(seen: MinMeanMax<Volts>) -> Supply {
    Supply { min_v: seen.low.si(), mean_v: seen.mean.si(), max_v: seen.high.si() }
}

fn part(part: &Part) -> Parted {
    Parted {
        kind: match part.kind {
            Kind::Receive => "receive",
            Kind::Transmit => "transmit",
            Kind::Decode => "decode",
        },
        power_w: part.watts.si(),
        begins_s: part.begins_s,
        lasts_s: part.lasts_s,
        bridged: part.bridged,
    }
}

fn fold(total: &Total) -> Fold {
    let latest = &total.latest;
    Fold {
        slot_s: latest.slot_s,
        period_s: latest.period_s,
        mode: latest.mode.map(|mode| mode.name),
        lasted_s: total.lasted.si(),
        energy_wh: total.energy.wh(),
        receive_wh: total.receive.wh(),
        transmit_wh: total.transmit.wh(),
        decode_wh: total.decode.wh(),
        slots_sent: total.sent,
        parts: latest.parts.iter().map(part).collect(),
        curve: Curve {
            phase_s: latest.curve.iter().map(|point| point.phase_s).collect(),
            power_w: latest.curve.iter().map(|point| point.watts).collect(),
        },
    }
}

fn contacts(report: &Report) -> Option<Contacts> {
    let all = report.contacts.as_ref()?;
    let possible = report.left.and_then(|left| all.still_possible(left));
    let groups = all.groups.iter().map(|group| Group {
        band: group.band,
        mode: group.mode.clone(),
        contacts: group.contacts,
        in_contact_s: group.lasted.si(),
        in_contact_wh: group.energy.wh(),
        in_contact_w: group.draw().map(Watts::si),
    });
    Some(Contacts {
        contacts: all.contacts,
        elsewhere: all.elsewhere,
        in_contact_s: all.in_contact.si(),
        in_contact_wh: all.in_contact_energy.wh(),
        energy_each_wh: all.energy_each().map(Joules::wh),
        own_energy_each_wh: all.own_energy_each().map(Joules::wh),
        in_contact_w: all.draw_in_contact().map(Watts::si),
        between_w: all.draw_between().map(Watts::si),
        contacts_per_h: all.an_hour(),
        still_possible_gap: gap(
            possible.as_ref(),
            match report.left {
                None => words::missing::NOTHING_FORETOLD,
                Some(_) => words::missing::FEW_CONTACTS,
            },
        ),
        still_possible: possible.map(three),
        groups: groups.collect(),
    })
}

fn ended(truth: Truth) -> Ended {
    let (known, lasted, within) = match truth {
        Truth::Open { at } => ("open", at, Seconds::ZERO),
        Truth::Died { at, within } => ("died", at, within),
        Truth::AtLeast { at } => ("at_least", at, Seconds::ZERO),
    };
    Ended { known, lasted_s: lasted.si(), within_s: within.si() }
}

fn judged(all: &Forecasts) -> Vec<Judged> {
    let one = |it: &reckon::report::JudgedForecast| {
        let known = it.came.filter(|_| it.off.is_some());
        Judged {
            at_s: it.made.at.si(),
            remaining_s: three(it.made.remaining.map(Seconds::si)),
            basis: it.made.basis.name(),
            came_s: known.map(Seconds::si),
            came_at_least_s: it.came.filter(|_| known.is_none()).map(Seconds::si),
            came_gap: gap(
                known.as_ref(),
                match all.truth {
                    Truth::Open { .. } => words::missing::GOES_ON,
                    _ => words::missing::NOT_EMPTY,
                },
            ),
            outcome: match it.outcome {
                ForecastOutcome::Held => "held",
                ForecastOutcome::Sooner => "sooner",
                ForecastOutcome::Later => "later",
                ForecastOutcome::Open => "open",
            },
            middle_off_s: it.off.map(Seconds::si),
        }
    };
    all.all.iter().map(one).collect()
}

fn correction(it: &record::Correction) -> Correction {
    Correction {
        id: it.id,
        from_s: it.from_s,
        to_s: it.to_s,
        activity: it.activity.clone(),
        origin: it.origin.name(),
    }
}

pub(crate) fn report(told: OutingReport, utc_offset_s: i32) -> Whole {
    let report = &told.report;
    let all = &report.forecasts;
    let (load, contacts) = (load(report), contacts(report));
    let taken = Taken {
        energy: energy(report),
        load_gap: gap(load.as_ref(), words::missing::LOAD_UNCHANGED),
        load,
        temp: report.temp.map(temp),
        temp_gap: gap(report.temp.as_ref(), "not read"),
        volts: report.volts.map(supply),
        volts_gap: gap(report.volts.as_ref(), "not read"),
        folds: report.folds.iter().map(fold).collect(),
        contacts_gap: gap(contacts.as_ref(), words::missing::NO_CONTACT),
        contacts,
        undated_s: told.whole.contacts.undated_s,
        marks: report
            .switched
            .iter()
            .map(|it| Mark {
                at_s: it.at.si(),
                text: it.text.clone(),
                more_w: it.more.0.si(),
                error_w: it.more.1.si(),
            })
            .collect(),
        truth: ended(all.truth),
        forecasts: judged(all),
        forecasts_judged: all.judged,
        forecasts_held: all.held,
        middle_off_s: all.middle_off.map(Seconds::si),
        middle_off_share: all.middle_off_share.map(Share::part),
        middle_off_gap: gap(all.middle_off.as_ref(), words::missing::NOT_KNOWN),
        learned_gap: gap(told.learned.as_ref(), words::missing::NO_RUNDOWN),
        learned: told.learned.map(|LearnedStep { before_wh, after_wh }| Learned {
            before_wh: three(before_wh),
            after_wh: three(after_wh),
        }),
        doings: report
            .done
            .iter()
            .map(|it| Doing { from_s: it.from.si(), to_s: it.to.si(), activity: it.doing.clone() })
            .collect(),
        corrections: told.whole.corrections.iter().map(correction).collect(),
    };
    Whole { outing: outing_whole(told.whole, utc_offset_s), report: taken }
}
