//! The JSON of an outing's report, version 1: all that the outing's own JSON has, and `report`.
//! Names carry their units; members may be added, never renamed. Call signs are never in it.

use reckon::{
    contacts::Reckoned,
    energy_tally::{EnergyTally, OutingTally},
    fold::{Part, Total},
    record::{Correction, EnergyPart, Unread},
    report::{
        ActivitySpan, Assumed, BankTally, ForecastOutcome, Forecasts, JudgedForecast, LearnedStep,
        LoadShare, MarkedChange, MinMeanMax, OutingReport, PlanOutcome, Report, StretchOutcome,
        Truth, Wrong,
    },
    units::{Celsius, Joules, Seconds, Share, Watts},
    words::missing,
};

use super::{
    names::part_name,
    object::{Bare, Object, column, list, three},
    past::outing_whole,
};

fn tally(tally: &EnergyTally) -> Object<'_> {
    let mean = tally.mean().map(Watts::si);
    Object::new()
        .with("energy_wh", tally.energy().wh())
        .with("lasted_s", tally.lasted().si())
        .or_why(["mean_power_w", "mean_power_gap"], mean, missing::NOTHING_READ)
        .with("p95_power_w", tally.p95().map(Watts::si))
        .with("peak_power_w", mean.map(|_| tally.peak().si()))
}

/// What was taken in all, by activity, and while no activity was told.
fn shares<'a>(object: Object<'a>, book: &'a OutingTally) -> Object<'a> {
    let activity = |(name, of)| Object::new().with("name", name).with_all(tally(of));
    object
        .with("whole", tally(book.whole()))
        .with("activities", list(book.activities().map(activity)))
        .with("untold", tally(book.untagged()))
}

/// What a bank gave: the newest of its outings.
pub(crate) fn bank_book(told: &BankTally) -> Object<'_> {
    let object = Object::new()
        .with("bank", &told.bank)
        .with("outings", told.outings)
        .with("of_outings", told.of)
        .with("means_of_s", told.coarsest_s);
    shares(object, &told.tally)
        .with("total_wh", told.all().wh())
        .with("total_is_at_least", told.is_at_least())
        .with("unread_wh", told.unread.energy_wh)
        .with("unread_s", told.unread.lasted_s)
}

fn unread<'a>((why, part): (Unread, EnergyPart)) -> Object<'a> {
    Object::new()
        .with("why", why.name())
        .with("energy_wh", part.energy_wh)
        .with("lasted_s", part.lasted_s)
}

fn energy(report: &Report) -> Object<'_> {
    let hour = |(ix, of): (u64, _)| Object::new().with("from_s", ix * 3600).with_all(tally(of));
    shares(Object::new(), &report.tally)
        .with("hours", list((0_u64..).zip(report.tally.hours()).map(hour)))
        .with("means_of_s", report.coarsest.si())
        .with("modelled_wh", report.modelled.energy().wh())
        .with("modelled_s", report.modelled.lasted().si())
        .with("silent_s", report.silent.si())
        .with("total_wh", report.all().wh())
        .with("unread", list(report.unread().map(unread)))
        .with("difference_wh", report.difference().wh())
}

fn load<'a>(load: LoadShare) -> Object<'a> {
    Object::new()
        .with("idle_w", load.line.intercept)
        .with("full_load_more_w", load.line.slope)
        .with("full_load_more_error_w", load.line.slope_se)
        .with("explained_share", load.line.explained.part())
        .with("taken_wh", load.taken.map(|(taken, _)| taken.wh()))
        .with("taken_error_wh", load.taken.map(|(_, error)| error.wh()))
        .with("from_rows", load.from_rows)
        .with("taken_gap", load.taken.is_none().then_some(missing::LOAD_TOO_EVEN))
}

fn range<'a, Q: Bare>([min, mean, max]: [&'static str; 3], seen: MinMeanMax<Q>) -> Object<'a> {
    Object::new()
        .with(min, seen.low.bare())
        .with(mean, seen.mean.bare())
        .with(max, seen.high.bare())
}

fn part(part: &Part) -> Object<'_> {
    Object::new()
        .with("kind", part_name(part.kind))
        .with("power_w", part.watts.si())
        .with("begins_s", part.begins_s)
        .with("lasts_s", part.lasts_s)
        .with("bridged", part.bridged)
}

/// Of one slot; its parts and its curve are those of the latest stretch that was folded.
fn fold(total: &Total) -> Object<'_> {
    let latest = &total.latest;
    let apart = |wh: f64| total.is_apart().then_some(wh);
    let curve = Object::new()
        .with("phase_s", column(latest.curve.iter().map(|point| Some(point.phase_s))))
        .with("power_w", column(latest.curve.iter().map(|point| Some(point.watts))));
    Object::new()
        .with("slot_s", latest.slot_s)
        .with("period_s", latest.period_s)
        .with("mode", latest.mode.map(|mode| mode.name))
        .with("lasted_s", total.lasted.si())
        .with("energy_wh", total.energy.wh())
        .with("receive_wh", apart(total.receive.wh()))
        .with("transmit_wh", apart(total.transmit.wh()))
        .with("decode_wh", apart(total.decode.wh()))
        .with("untold_wh", total.untold.wh())
        .with("slots_sent", total.is_apart().then_some(total.sent))
        .with("parts", list(latest.parts_apart().iter().map(part)))
        .with("curve", curve)
}

fn contacts(all: &Reckoned, left: Option<Joules>) -> Object<'_> {
    let why = if left.is_none() { missing::NOTHING_FORETOLD } else { missing::FEW_CONTACTS };
    let possible = left.and_then(|left| all.still_possible(left)).map(three);
    let group = |group: &'_ reckon::contacts::Group| {
        Object::new()
            .with("band", group.band)
            .with("mode", group.mode.clone())
            .with("contacts", group.contacts)
            .with("in_contact_s", group.lasted.si())
            .with("in_contact_wh", group.energy.wh())
            .with("in_contact_w", group.draw().map(Watts::si))
    };
    Object::new()
        .with("contacts", all.contacts)
        .with("elsewhere", all.elsewhere)
        .with("in_contact_s", all.in_contact.si())
        .with("in_contact_wh", all.in_contact_energy.wh())
        .with("energy_each_wh", all.energy_each().map(Joules::wh))
        .with("own_energy_each_wh", all.own_energy_each().map(Joules::wh))
        .with("in_contact_w", all.draw_in_contact().map(Watts::si))
        .with("between_w", all.draw_between().map(Watts::si))
        .with("contacts_per_h", all.an_hour())
        .or_why(["still_possible", "still_possible_gap"], possible, why)
        .with("groups", list(all.groups.iter().map(group)))
}

fn truth<'a>(truth: Truth) -> Object<'a> {
    let (known, lasted, within) = match truth {
        Truth::Open { at } => ("open", at, Seconds::ZERO),
        Truth::Died { at, within } => ("died", at, within),
        Truth::AtLeast { at } => ("at_least", at, Seconds::ZERO),
    };
    Object::new().with("known", known).with("lasted_s", lasted.si()).with("within_s", within.si())
}

fn judged(it: &JudgedForecast, truth: Truth) -> Object<'_> {
    let known = it.came.filter(|_| it.off.is_some());
    let why = match truth {
        Truth::Open { .. } => missing::GOES_ON,
        _ => missing::NOT_EMPTY,
    };
    let outcome = match it.outcome {
        ForecastOutcome::Held => "held",
        ForecastOutcome::Sooner => "sooner",
        ForecastOutcome::Later => "later",
        ForecastOutcome::Open => "open",
    };
    Object::new()
        .with("at_s", it.made.at.as_s())
        .with("remaining_s", three(it.made.remaining_s))
        .with("basis", it.made.basis.name())
        .with("came_s", known.map(Seconds::si))
        .with("came_at_least_s", it.came.filter(|_| known.is_none()).map(Seconds::si))
        .with("came_gap", known.is_none().then_some(why))
        .with("outcome", outcome)
        .with("middle_off_s", it.off.map(Seconds::si))
}

fn forecasts<'a>(object: Object<'a>, all: &'a Forecasts) -> Object<'a> {
    object
        .with("truth", truth(all.truth))
        .with("forecasts", list(all.all.iter().map(|it| judged(it, all.truth))))
        .with("forecasts_judged", all.judged)
        .with("forecasts_held", all.held)
        .with("middle_off_s", all.middle_off.map(Seconds::si))
        .with("middle_off_share", all.middle_off_share.map(Share::part))
        .with("middle_off_gap", all.middle_off.is_none().then_some(missing::NOT_KNOWN))
}

fn mark(it: &MarkedChange) -> Object<'_> {
    Object::new()
        .with("at_s", it.at.si())
        .with("text", &it.text)
        .with("more_w", it.more.0.si())
        .with("error_w", it.more.1.si())
}

fn stretch(it: &StretchOutcome) -> Object<'_> {
    Object::new()
        .with("name", Some(&it.name).filter(|name| !name.is_empty()))
        .with("from_s", it.from.si())
        .with("to_s", it.to.si())
        .with("planned_w", it.planned.si())
        .or_why(["drew_w", "drew_gap"], it.drew.map(Watts::si), missing::NOT_READ)
}

/// What was assumed otherwise than it was: of the bank, Wh, or of the draw, W.
fn most_wrong<'a>(it: &'a Wrong, stretches: &[StretchOutcome]) -> Object<'a> {
    let object = Object::new().with("moved_s", it.moved.si());
    match &it.what {
        Assumed::Energy(believed, gave) => object
            .with("what", "energy")
            .with("planned_wh", believed.wh())
            .with("real_wh", gave.wh()),
        Assumed::Draw { name, nth, watts: [planned, drew] } => object
            .with("what", "draw")
            .with("name", Some(name).filter(|name| !name.is_empty()))
            .with("from_s", stretches.get(nth.saturating_sub(1)).map(|one| one.from.si()))
            .with("planned_w", planned.si())
            .with("real_w", drew.si()),
    }
}

fn plan(it: &PlanOutcome) -> Object<'_> {
    Object::new()
        .with("began_s", it.began.si())
        .with("lasts_s", three(it.lasts.map(Seconds::si)))
        .with("came_s", it.came.si())
        .with("bank_was_empty", it.died)
        .with("usable_wh", three(it.usable.map(Joules::wh)))
        .with("gave_wh", it.gave.map(Joules::wh))
        .with("ambient_c", it.ambient.map(Celsius::si))
        .with("stretches", list(it.stretches.iter().map(stretch)))
        .with("most_wrong", it.most_wrong.as_ref().map(|wrong| most_wrong(wrong, &it.stretches)))
}

fn learned<'a>(step: LearnedStep) -> Object<'a> {
    Object::new().with("before_wh", three(step.before_wh)).with("after_wh", three(step.after_wh))
}

fn doing(it: &ActivitySpan) -> Object<'_> {
    Object::new()
        .with("from_s", it.from.si())
        .with("to_s", it.to.si())
        .with("activity", it.doing.as_ref())
}

fn correction(it: &Correction) -> Object<'_> {
    Object::new()
        .with("id", it.id)
        .with("from_s", it.from_s)
        .with("to_s", it.to_s)
        .with("activity", it.activity.as_ref())
        .with("origin", it.origin.name())
}

pub(crate) fn report(told: &OutingReport, utc_offset_s: i32) -> Object<'_> {
    let report = &told.report;
    let temp = report.temp.map(|it| range(["min_c", "mean_c", "max_c"], it));
    let volts = report.volts.map(|it| range(["min_v", "mean_v", "max_v"], it));
    let all = report.contacts.as_ref().map(|all| contacts(all, report.left));
    let taken = Object::new()
        .with("energy", energy(report))
        .or_why(["load", "load_gap"], report.load.map(load), missing::LOAD_UNCHANGED)
        .or_why(["temp", "temp_gap"], temp, missing::NOT_READ)
        .or_why(["volts", "volts_gap"], volts, missing::NOT_READ)
        .with("folds", list(report.folds.iter().map(fold)))
        .or_why(["contacts", "contacts_gap"], all, missing::NO_CONTACT)
        .with("undated_s", told.whole.contacts.undated_s)
        .with("marks", list(report.switched.iter().map(mark)));
    let taken = forecasts(taken, &report.forecasts)
        .or_why(["learned", "learned_gap"], told.learned.map(learned), missing::NO_RUNDOWN)
        .or_why(["plan", "plan_gap"], told.planned.as_ref().map(plan), missing::NO_PLAN)
        .with("doings", list(report.done.iter().map(doing)))
        .with("corrections", list(told.whole.corrections.iter().map(correction)));
    outing_whole(&told.whole, utc_offset_s).with("report", taken)
}
