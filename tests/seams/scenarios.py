"""What is played, and what must come of it. Each scenario is named by the sentence that it holds the program to."""

import shutil

import plans
from registry import DAY_S, HOUR_S, MINUTE_S, scenario
from station import BLUE_TEN, LONG_SIX, SPARE_LONG_SIX, Bank, Station

# A USB bank that is what its label says, and one that is not. 10 000 mAh at 3.7 V are 37 Wh at the cells; behind
# the converter 28 to 33 Wh are to be had (common practice, no source).
GOOD_WH, POOR_WH = 30.2, 19.2
# Such a bank gives 5 V and 3 A at most (USB Type-C specification, current advertisement of 3 A); near that, hours
# are few.
HARD_W = 14.0
# The bank is taken home, charged overnight, and comes back a week later: nobody doubts that it is full.
LONG_OFF_S = 6 * DAY_S
# On a record, a power cut may cost the rows of a minute (ten seconds near the end), and a boot adds the seconds
# before the program was started, Wh at the hard draw.
RECORD_WH = 0.35


# ---- what is looked at ----------------------------------------------------------------------------


def left_min(now, point="p10"):
    """A point of the forecast, minutes; None where there is none."""
    remaining = now["forecast"]["remaining_s"]
    return remaining and remaining[point] / 60.0


def counted_wh(now):
    """The energy that the program has counted in this outing."""
    return now["bank"]["delivered_wh"]


def open_question(it, name):
    """Whether the question stands without an answer."""
    question = it.question(name)
    return question is not None and question.get("answered") is None


def asks(bench, it, name, answers):
    """Checks that a question stands, unanswered, with these answers."""
    question = it.question(name)
    offered = question and [one["answer"] for one in question["answers"]]
    return bench.check(f"it asks `{name}`", question is not None and question["answered"] is None and set(answers) <= set(offered),
                       f"unanswered, with {answers}", question and (question["answered"], offered))


def asks_nothing(bench, it, name):
    """Checks that a question is not there."""
    return bench.check(f"it does not ask `{name}`", not open_question(it, name), "no such question", it.question(name))


def answered(bench, it, name, answer):
    """Answers, and checks that the answer stands there. A second passes."""
    taken = it.answer(name, answer)
    question = it.question(name)
    # What is inferred again after an answer was taken back is nobody's word.
    said = question["answered"] if question and question["standing"] == "said" else None
    return bench.check(f"`{name}` takes the answer {answer}", taken and said == answer, answer, said if taken else "refused")


def in_terminal(bench, it, *words):
    """Types a command that must work; what it printed."""
    status, said, complaint = it.outlast(*words)
    bench.check(f"`outlast {' '.join(words)}` works", status == 0, "status 0", f"{status}: {complaint.partition(chr(10))[0]}")
    return said


def spans(bench, what, now, little, much):
    """Checks that the range reaches from what is feared to what is hoped, and that both are told. `little` and
    `much` are snapshots with the forecast of the one and the other. A range over two possibilities does not begin
    exactly where the worse one does: a quarter of the way to its middle is allowed, and at the other end the
    middle of the way to the middle."""
    low, high = [[left_min(of, point) for point in ("p10", "p50")] for of in (little, much)]
    bench.most(f"{what}: the cautious end is not more than was left", left_min(now), low[0] + (low[1] - low[0]) / 4, "min")
    bench.least(f"{what}: the far end is not less than may be there", left_min(now, "p90"), (high[0] + high[1]) / 2, "min")
    stories = now["forecast"].get("possibilities") or []
    whole = sum(one["weight"] for one in stories)
    bench.check(f"{what}: it says what is possible", len(stories) >= 2 and abs(whole - 1) < 0.02 and all(one["story"] for one in stories),
                "two stories or more that make up the whole", stories)


def recorded(bench, it, number, wh, endings, tolerance_wh=RECORD_WH):
    """Checks an outing of the record: its energy and its ending."""
    outing = it.outing(number)
    bench.near(f"outing {number} on record: its energy", outing["energy_wh"], wh, tolerance_wh, "Wh")
    bench.check(f"outing {number} on record: its ending", outing["ending"] in endings, " or ".join(endings), outing["ending"])


# ---- how it comes to that -------------------------------------------------------------------------


def full(it, first):
    """The bank comes fully charged after a long time, with a clock that is right."""
    it.boot(off_s=LONG_OFF_S, synchronised_after_s=0, first=first)
    it.play(lambda _: first, 5)
    if open_question(it, "since-last"):
        it.answer("since-last", "charged")
    elif it.question("since-last") is None and len(it.outings()) > 1:
        it.post("/api/v1/bank", {"bank": it.now()["bank"]["connected"]["name"], "start": "full"})
    it.new_count()
    return counted_wh(it.now())


def until_counting(bench, it, plan, bank):
    """Plays until the countdown has been on for twenty seconds. Whether there is one."""
    it.play(plan, 4 * HOUR_S, bank=bank, every_s=5, watch=lambda now: now["power_off"]["state"] == "counting")
    if not bench.check("a countdown begins before the bank is empty", it.runs and it.now()["power_off"]["state"] == "counting",
                       "counting", it.now()["power_off"] if it.runs else "the bank died"):
        return False
    it.play(plan, 20, bank=bank)
    return True


def last_minutes(it, plan, bank, minutes):
    """Plays until so little is left on the cautious side; what was said then."""
    it.play(plan, 4 * HOUR_S, bank=bank, every_s=5, watch=lambda now: (left_min(now) or 1e9) <= minutes)
    return it.now()


def withstands(bench, it, what, plan, spell, spell_s, after_s, slack_min, bank=None):
    """Plays a plan with a spell of odd readings, and checks that it is no news: same outing, same energy, and a
    forecast that has gone on by the time that passed. The snapshot afterwards."""
    before, began, truth_wh = it.now(), it.clocks.boot_s, it.delivered_wh
    outings = len(it.outings())
    it.play(plans.steady(*spell), spell_s, flows=plan if spell[1] else None, bank=bank)
    within = it.now()
    it.play(plan, after_s, bank=bank)
    after, passed_min = it.now(), (it.clocks.boot_s - began) / 60.0
    bench.check(f"{what}: the outing goes on", len(it.outings()) == outings, f"{outings} outings", len(it.outings()))
    bench.near(f"{what}: the delivered energy is kept", counted_wh(after), counted_wh(before) + it.delivered_wh - truth_wh, 0.03, "Wh")
    for when, now in (("at once", within), ("a little later", after)):
        if now["forecast"]["remaining_s"] is not None or when != "at once":
            bench.most(f"{what}: the cautious end does not grow, {when}", left_min(now), left_min(before) + slack_min, "min")
    bench.near(f"{what}: the cautious end goes on", left_min(after), left_min(before) - passed_min, slack_min, "min")
    missing = {one["text"][:24] for one in before["alarms"]} - {one["text"][:24] for one in after["alarms"]}
    bench.check(f"{what}: no alarm is cleared", len(after["alarms"]) >= len(before["alarms"]), f"{len(before['alarms'])} alarms", missing)
    asks_nothing(bench, it, "swapped")
    return after


def still_counting(bench, what, before, after, passed_s):
    """Checks that a countdown goes on towards the same moment."""
    bench.check(f"{what}: the countdown goes on", after["power_off"]["state"] == "counting", "counting", after["power_off"])
    in_s = after["power_off"]["switch_off_in_s"]
    bench.near(f"{what}: towards the same moment", in_s, before["power_off"]["switch_off_in_s"] - passed_s, 2.0, "s")


def odd_spell(bench, spell, spell_s):
    """A spell of odd readings in the middle of an outing and in the countdown of a dying bank."""
    plan, bank = plans.usb(HARD_W), Bank(GOOD_WH)
    with Station(bench, BLUE_TEN, power_off=True, state=bench.taught) as it:
        before_wh = full(it, plan(0))
        it.play(plan, 40 * MINUTE_S, bank=bank)
        withstands(bench, it, "in the middle", plan, spell, spell_s, 2 * MINUTE_S, 3.0, bank)
        if not until_counting(bench, it, plan, bank):
            return
        before, began = it.now(), it.clocks.boot_s
        after = withstands(bench, it, "in the countdown", plan, spell, spell_s, 30, 1.5, bank)
        still_counting(bench, "in the countdown", before, after, it.clocks.boot_s - began)
        it.play(plan, 150, bank=bank, every_s=1, watch=lambda _: it.asked_to_be_switched_off)
        bench.check("the board is switched off before the bank cuts out", it.runs and it.asked_to_be_switched_off, "a request", f"runs {it.runs}")
        if it.runs:
            it.shut_down()
        wh = it.new_count() + before_wh
        full(it, plan(0))
        recorded(bench, it, it.outings()[1]["id"], wh, ["switched_off"])


# ---- the scenarios --------------------------------------------------------------------------------


@scenario("The energy counted is what truly flowed, and a bank run down to its end teaches")
def truth(bench):
    plan = plans.usb(HARD_W)
    with Station(bench, BLUE_TEN) as it:
        for round_ in (1, 2):
            bank = Bank(GOOD_WH)
            it.boot(off_s=LONG_OFF_S, synchronised_after_s=0, first=plan(0))
            it.play(plan, 5)
            it.post(f"/api/v1/banks/{it.bank('Blue ten')['id']}/test", {})
            it.new_count()
            it.play(plan, HOUR_S, bank=bank)
            now = it.now()
            bench.near(f"run-down {round_}: counted in an hour", counted_wh(now), it.delivered_wh, 0.005 * it.delivered_wh, "Wh")
            it.play(lambda _: None, MINUTE_S, bank=bank, flows=plan)
            it.play(plan, MINUTE_S, bank=bank)
            now = it.now()
            bench.near(f"run-down {round_}: bridged over a sensor that was away", counted_wh(now), it.delivered_wh, 0.005 * it.delivered_wh, "Wh")
            bench.near(f"run-down {round_}: and said to be bridged", now["bank"]["bridged_wh"], plan_wh(plan, MINUTE_S), 0.05, "Wh")
            it.play(plan, 4 * HOUR_S, bank=bank)
            bench.check(f"run-down {round_}: the bank cuts out", not it.runs, "dead", "alive" if it.runs else "dead")
        it.boot(off_s=LONG_OFF_S, synchronised_after_s=0, first=plan(0))
        it.play(plan, 30)
        runs = it.bank("Blue ten")["rundowns"]
        bench.check("both run-downs are credited as whole", [run["whole"] for run in runs] == [True, True], "two whole ones", runs)
        for run in runs:
            bench.near("what one of them delivered", run["delivered_wh"], GOOD_WH, 0.01 * GOOD_WH, "Wh")
        tests = [outing for outing in it.outings() if outing["lasted_s"] > 600]
        bench.check("both are outings of the record", len(tests) == 2, 2, len(tests))
        for outing in tests:
            recorded(bench, it, outing["id"], GOOD_WH, ["died"])
        it.shut_down()
        shutil.copytree(it.state, bench.taught)


@scenario("One sweep of 0 V while current flows is a reading that contradicts itself, not another bank")
def zero_volts(bench):
    odd_spell(bench, (0.0, 0.5), 1)


@scenario("A dip of three seconds that the board outlives is not another bank")
def dip(bench):
    odd_spell(bench, (0.0, 0.0), 3)


@scenario("An hour of ordinary transmissions on a 12 V pack is one outing")
def transmissions(bench):
    plan = plans.slots(receive=(12.6, 0.6), transmit=(11.9, 5.0))
    with Station(bench, LONG_SIX) as it:
        it.boot(synchronised_after_s=0, first=plan(0))
        asked = []
        it.play(plan, HOUR_S, watch=lambda now: asked.extend(one["id"] for one in now.get("questions", []) if one["answered"] is None))
        now = it.now()
        bench.check("it is one outing", len(it.outings()) == 1, 1, len(it.outings()))
        bench.check("nothing is asked", not asked, "no question", sorted(set(asked)))
        bench.near("the energy counted", counted_wh(now), it.delivered_wh, 0.01 * it.delivered_wh, "Wh")
        wh = it.delivered_wh
        it.shut_down()
        it.boot(off_s=LONG_OFF_S, synchronised_after_s=0, first=plan(0))
        it.play(plan, 30)
        recorded(bench, it, it.outings()[-1]["id"], wh, ["switched_off"])


@scenario("A supply that was away for 40 s while the board ran on is asked about, and either answer holds")
def away(bench):
    plan, hole_s, back_s = plans.usb(8.0), 40, 2 * MINUTE_S
    with Station(bench, BLUE_TEN) as it:
        fresh, before = short_outing(it, plan, 60)
        it.play(plans.steady(0.0, 0.0), hole_s)
        it.play(plan, back_s)
        after = it.now()
        whole_wh = it.delivered_wh
        bench.check("it is still one outing", len(it.outings()) == 1, 1, len(it.outings()))
        bench.near("the energy is kept", counted_wh(after), whole_wh, 0.15, "Wh")
        asks(bench, it, "swapped", ["same", "another"])
        spans(bench, "until it is known", after, before, fresh)
        since_wh = plan_wh(plan, back_s)
        if answered(bench, it, "swapped", "another"):
            it.play(plan, 2)
            now = it.now()
            bench.check("another bank: a new outing", len(it.outings()) == 2, 2, len(it.outings()))
            bench.near("another bank: its energy counts from that moment", counted_wh(now), since_wh + plan_wh(plan, 2), 0.05, "Wh")
            recorded(bench, it, it.outings()[-1]["id"], whole_wh - since_wh, ["swapped"])
            how_full(bench, it, plan)
        if answered(bench, it, "swapped", None):
            it.play(plan, 2)
            now = it.now()
            bench.check("taken back: one outing again", len(it.outings()) == 1, 1, len(it.outings()))
            bench.near("taken back: all its energy", counted_wh(now), it.delivered_wh, 0.15, "Wh")
            spans(bench, "taken back", now, before, fresh)
        if answered(bench, it, "swapped", "same"):
            it.play(plan, MINUTE_S)
            bench.near("the same bank: the forecast goes on", left_min(it.now()), left_min(before) - 4, 6, "min")
        wh = it.new_count()
        it.shut_down()
        it.boot(off_s=LONG_OFF_S, synchronised_after_s=0, first=plan(0))
        it.play(plan, 5)
        recorded(bench, it, it.outings()[-1]["id"], wh, ["switched_off"])


def how_full(bench, it, plan):
    """Of a bank that nobody knows, the four lamps are an answer."""
    if not asks(bench, it, "how-full", ["1", "0.875", "0.625", "0.375", "0.125"]):
        return
    it.play(plan, 10)
    spread = {}
    for level in ("0.875", "0.375"):
        answered(bench, it, "how-full", level)
        it.play(plan, 10)
        spread[level] = left_min(it.now(), "p50") or 0.0
    bench.near("with 3/8 in it, as against 7/8, so much less is left", spread["0.375"] / max(spread["0.875"], 1e-9), 3 / 7, 0.2, "")
    answered(bench, it, "how-full", None)


def plan_wh(plan, for_s):
    """The energy of a steady plan."""
    return plans.watts(plan(0)) * for_s / HOUR_S


@scenario("A supply that is away for 40 s clears neither alarm nor countdown")
def away_at_the_end(bench):
    plan, bank = plans.usb(HARD_W), Bank(GOOD_WH)
    with Station(bench, BLUE_TEN, power_off=True, state=bench.taught) as it:
        full(it, plan(0))
        if not until_counting(bench, it, plan, bank):
            return
        before, began = it.now(), it.clocks.boot_s
        it.play(plans.steady(0.0, 0.0), 40)
        within = it.now()
        still_counting(bench, "while it is away", before, within, it.clocks.boot_s - began)
        it.play(plan, 15, bank=bank)
        after = it.now()
        still_counting(bench, "when it is back", before, after, it.clocks.boot_s - began)
        bench.check("no alarm is cleared", len(after["alarms"]) >= len(before["alarms"]), f"{len(before['alarms'])} alarms", after["alarms"])
        asks(bench, it, "swapped", ["same", "another"])
        bench.most("the cautious end stays short", left_min(after), left_min(before) + 1, "min")
        if answered(bench, it, "swapped", "another"):
            it.play(plan, 60)
            now = it.now()
            bench.check("the operator's word ends the countdown", now["power_off"]["state"] == "watching", "watching", now["power_off"])


def after_restart(bench, how):
    """A bank with two minutes left is cut off or switched off, and comes back nobody knows when."""
    plan, bank = plans.usb(HARD_W), Bank(GOOD_WH)
    with Station(bench, BLUE_TEN, state=bench.taught) as it:
        full(it, plan(0))
        it.play(plan, 3 * MINUTE_S, bank=bank)
        fresh = it.now()
        before = last_minutes(it, plan, bank, 2.0)
        outings, number = len(it.outings()), it.outings()[0]["id"]
        bench.note(f"said {left_min(before)} min, truly {bank.left_s(HARD_W) / 60:.1f} min are left")
        how(it)
        it.boot(off_s=30 * MINUTE_S, first=plan(0))
        it.play(plan, 60, bank=bank)
        now = it.now()
        spans(bench, "after the restart", now, before, fresh)
        alarms = [one["about"] for one in now["alarms"]]
        bench.check("after the restart: the warning stands", "running_out" in alarms, "running_out", alarms)
        asks(bench, it, "since-last", ["goes-on", "charged", "another"])
        said = in_terminal(bench, it, "answer")
        bench.check("the terminal prints the question", "since-last" in said, "since-last", said)
        goes_on(bench, it, outings, before, fresh, plan, bank)
        charged(bench, it, outings, before, fresh, plan, bank)
        # The last word: it went on.
        answered(bench, it, "since-last", "goes-on")
        it.play(plan, 2, bank=bank)
        wh = it.new_count()
        it.shut_down()
        it.boot(off_s=LONG_OFF_S, synchronised_after_s=0, first=plan(0))
        it.play(plan, 5)
        recorded(bench, it, number, wh, ["switched_off"])


def goes_on(bench, it, outings, before, fresh, plan, bank):
    """`outlast outing goes-on last`, and back."""
    in_terminal(bench, it, "outing", "goes-on", "last")
    it.play(plan, 2, bank=bank)
    now = it.now()
    bench.check("it goes on: the same outing", len(it.outings()) == outings, outings, len(it.outings()))
    bench.near("it goes on: with its energy", counted_wh(now), it.delivered_wh, RECORD_WH, "Wh")
    bench.most("it goes on: little is left", left_min(now, "p50"), left_min(before, "p50") + 1, "min")
    bench.check("the answer stands there", (it.question("since-last") or {}).get("answered") == "goes-on", "goes-on", it.question("since-last"))
    in_terminal(bench, it, "answer", "since-last", "--back")
    it.play(plan, 2, bank=bank)
    bench.check("taken back: it asks again", open_question(it, "since-last"), "open", it.question("since-last"))
    spans(bench, "taken back", it.now(), before, fresh)


def charged(bench, it, outings, before, fresh, plan, bank):
    """`outlast outing goes-on last --charged`, and back."""
    in_terminal(bench, it, "outing", "goes-on", "last", "--charged")
    it.play(plan, 2, bank=bank)
    now = it.now()
    bench.check("charged: another outing", len(it.outings()) == outings + 1, outings + 1, len(it.outings()))
    bench.near("charged: a full bank's time", left_min(now), left_min(fresh), 15, "min")
    in_terminal(bench, it, "answer", "since-last", "--back")
    it.play(plan, 2, bank=bank)
    now = it.now()
    bench.check("charged, taken back: it asks again", open_question(it, "since-last"), "open", it.question("since-last"))
    spans(bench, "charged, taken back", now, before, fresh)


@scenario("After a power cut, a bank with two minutes left is not said to have more, and the operator can say")
def cut_near_the_end(bench):
    after_restart(bench, Station.cut_power)


@scenario("Switched off in good order, a bank with two minutes left is not said to have more, and the operator can say")
def stop_near_the_end(bench):
    after_restart(bench, Station.shut_down)


@scenario("With 3.6 Wh gone and no clock battery, a full bank is a possibility, not knowledge")
def part_gone(bench):
    plan = plans.usb(4.5)
    with Station(bench, BLUE_TEN) as it:
        fresh, before = short_outing(it, plan, 48, clock=False)
        it.cut_power()
        it.boot(off_s=5 * MINUTE_S, first=plan(0))
        it.play(plan, 3 * MINUTE_S)
        now = it.now()
        asks(bench, it, "since-last", ["goes-on", "charged", "another"])
        spans(bench, "after the restart", now, before, fresh)
        if answered(bench, it, "since-last", "goes-on"):
            it.play(plan, 2)
            bench.near("it goes on: with its energy", counted_wh(it.now()), it.delivered_wh, RECORD_WH, "Wh")
            bench.near("it goes on: the forecast of before", left_min(it.now()), left_min(before) - 3, 15, "min")


def short_outing(it, plan, minutes=30, clock=True):
    """An outing with a clock that is right, or none; the snapshots when it was fresh and at its end."""
    it.boot(synchronised_after_s=0 if clock else None, first=plan(0))
    it.play(plan, 3 * MINUTE_S)
    fresh = it.now()
    it.play(plan, (minutes - 3) * MINUTE_S)
    return fresh, it.now()


def one_outing(bench, it, before, plan):
    """Checks that the outing went on by itself."""
    it.play(plan, MINUTE_S)
    now = it.now()
    bench.check("it is one outing", len(it.outings()) == 1, 1, len(it.outings()))
    bench.near("with all its energy", counted_wh(now), it.delivered_wh, RECORD_WH, "Wh")
    bench.near("and the forecast goes on", left_min(now), left_min(before) - 3, 8, "min")
    asks_nothing(bench, it, "since-last")


@scenario("A minute without power, by a clock that is right twenty seconds later, goes on by itself")
def gap_of_a_minute(bench):
    plan = plans.usb(8.0)
    for how in (Station.cut_power, Station.shut_down):
        with Station(bench, BLUE_TEN) as it:
            _, before = short_outing(it, plan)
            how(it)
            it.boot(off_s=MINUTE_S, synchronised_after_s=20, first=plan(0))
            it.play(plan, MINUTE_S)
            one_outing(bench, it, before, plan)


@scenario("When a phone tells the time after a minute without power, the outing goes on by itself")
def gap_and_phone(bench):
    plan = plans.usb(8.0)
    with Station(bench, BLUE_TEN) as it:
        _, before = short_outing(it, plan)
        it.cut_power()
        it.boot(off_s=MINUTE_S, first=plan(0))
        it.play(plan, MINUTE_S)
        asks(bench, it, "since-last", ["goes-on", "charged", "another"])
        bench.check("the phone is heard", it.phone_tells_the_time() < 300, "done", "refused")
        one_outing(bench, it, before, plan)


@scenario("A night without power is asked about, whatever the clock says")
def gap_of_a_night(bench):
    plan = plans.usb(8.0)
    with Station(bench, BLUE_TEN) as it:
        fresh, before = short_outing(it, plan)
        it.shut_down()
        it.boot(off_s=9 * HOUR_S, synchronised_after_s=0, first=plan(0))
        it.play(plan, 3 * MINUTE_S)
        asks(bench, it, "since-last", ["goes-on", "charged", "another"])
        spans(bench, "in the morning", it.now(), before, fresh)


@scenario("Six days without power count as a charge, which is said and can be changed")
def gap_of_six_days(bench):
    plan = plans.usb(8.0)
    with Station(bench, BLUE_TEN) as it:
        fresh, before = short_outing(it, plan)
        it.shut_down()
        it.boot(off_s=6 * DAY_S, synchronised_after_s=0, first=plan(0))
        it.play(plan, 3 * MINUTE_S)
        now = it.now()
        bench.near("a full bank's time", left_min(now), left_min(fresh), 12, "min")
        question = it.question("since-last")
        bench.check("it says so", question is not None and question["answered"] == "charged", "charged", question)
        if answered(bench, it, "since-last", "goes-on"):
            it.play(plan, 2)
            now = it.now()
            bench.check("changed: the outing goes on", len(it.outings()) == 1, 1, len(it.outings()))
            bench.near("changed: with its energy", counted_wh(now), it.delivered_wh, RECORD_WH, "Wh")
            bench.near("changed: and what was left", left_min(now), left_min(before) - 3, 8, "min")
        if answered(bench, it, "since-last", None):
            it.play(plan, 2)
            bench.near("taken back: a full bank's time", left_min(it.now()), left_min(fresh), 12, "min")


@scenario("Started again at once in the same boot, the program has the count, the level and the doubt of before")
def started_again(bench):
    plan = plans.usb(8.0)
    with Station(bench, BLUE_TEN) as it:
        _, before = short_outing(it, plan)
        it.restart()
        it.play(plan, 3)
        bench.near("started again: its energy", counted_wh(it.now()), it.delivered_wh, RECORD_WH, "Wh")
        bench.near("started again: the cautious end", left_min(it.now()), left_min(before), 12, "min")
        # A level that was told is no default that comes back.
        if answered(bench, it, "how-full", "0.375"):
            it.play(plan, 2 * MINUTE_S)
            told = it.now()
            it.restart()
            it.play(plan, 2 * MINUTE_S)
            bench.near("started again: the level that was told", left_min(it.now(), "p50"), left_min(told, "p50") - 2, 12, "min")
        # A doubt about the supply, and after it the word that hides nothing.
        it.play(plans.steady(0.0, 0.0), 40)
        it.play(plan, 2 * MINUTE_S)
        asks(bench, it, "swapped", ["same", "another"])
        it.restart()
        it.play(plan, 2 * MINUTE_S)
        asks(bench, it, "swapped", ["same", "another"])
        if answered(bench, it, "swapped", "another"):
            it.play(plan, 10 * MINUTE_S)
            first = len(it.outings())
            it.play(plans.steady(0.0, 0.0), 40)
            it.play(plan, 2 * MINUTE_S)
            bench.check("a second absence joins nothing", len(it.outings()) == first, first, len(it.outings()))
            asks(bench, it, "swapped", ["same", "another"])


@scenario("Three boots of one bank without a clock are counted once, before and after the program starts again")
def three_boots(bench):
    plan = plans.usb(8.0)
    with Station(bench, BLUE_TEN, power_off=True) as it:
        it.boot(first=plan(0))
        it.play(plan, 60 * MINUTE_S)
        for off_s in (9 * HOUR_S, MINUTE_S):
            it.cut_power()
            it.boot(off_s=off_s, first=plan(0))
            it.play(plan, 10 * MINUTE_S)
        status, _, said = it.outlast("outing", "goes-on", "last")
        bench.check("`outlast outing goes-on last` works", status == 0, "status 0", said)
        it.play(plan, 90)
        bench.near("goes on: all that flowed", counted_wh(it.now()), it.delivered_wh, RECORD_WH, "Wh")
        bench.check("goes on: one outing", len(it.outings()) == 1, 1, len(it.outings()))
        before = left_min(it.now())
        it.restart(15)
        it.play(plan, 5 * MINUTE_S)
        bench.near("started again: all that flowed", counted_wh(it.now()), it.delivered_wh, 2 * RECORD_WH, "Wh")
        bench.near("started again: the cautious end", left_min(it.now()), before - 5, 15, "min")
        bench.check("started again: nobody switches off", not it.asked_to_be_switched_off, "no request", "a request")


@scenario("A plug that slips again and again does not make a used bank full")
def slipping_plug(bench):
    plan = plans.usb(4.0)
    with Station(bench, BLUE_TEN) as it:
        it.boot(first=plan(0))
        for _ in range(6):
            it.play(plan, 9 * MINUTE_S)
            it.cut_power()
            it.boot(off_s=20, first=plan(0))
        it.play(plan, 2 * MINUTE_S)
        now = it.now()
        question = it.question("since-last")
        if question and question["standing"] == "open" and answered(bench, it, "since-last", "goes-on"):
            it.play(plan, 2)
            now = it.now()
        bench.near("all that flowed", counted_wh(now), it.delivered_wh, 2 * RECORD_WH, "Wh")


@scenario("A bank that dies twice at the same watt-hours ran empty, whatever the forecast had said")
def dies_twice(bench):
    plan = plans.usb(3.0)
    with Station(bench, BLUE_TEN) as it:
        it.boot(first=plan(0))
        for _ in (1, 2):
            it.play(plan, 12 * HOUR_S, bank=Bank(POOR_WH))
            it.boot(off_s=12 * HOUR_S, first=plan(0))
            it.play(plan, 30)
            answered(bench, it, "since-last", "charged")
        it.play(plan, MINUTE_S)
        deaths = [outing for outing in it.outings() if outing["lasted_s"] > 600]
        bench.check("both are outings of the record", len(deaths) == 2, 2, len(deaths))
        for which, outing in zip(("second", "first"), deaths):
            chance = 1.0 if outing["ending"] == "died" else outing["died_chance"]
            bench.least(f"the {which} ran empty: the chance", chance, 0.5, "")
            bench.near(f"the {which} delivered", outing["energy_wh"], POOR_WH, RECORD_WH, "Wh")
        bank = it.bank("Blue ten")
        bench.check("both are credited as whole run-downs", [run["whole"] for run in bank["rundowns"]] == [True, True],
                    "two whole ones", [(run["whole"], run["delivered_wh"]) for run in bank["rundowns"]])
        bench.near("the bank is known for what it is", bank["usable_wh"]["p50"], POOR_WH, 1.5, "Wh")
        pulled(bench, it, deaths[0]["id"])


def pulled(bench, it, number):
    """The operator knows better how it ended, and takes it back."""
    if it.question("how-ended") is None:
        bench.check("how it ended can be told", False, "a question `how-ended`", "none")
        return
    was = it.outing(number)
    if answered(bench, it, "how-ended", "plug-pulled"):
        now = it.outing(number)
        bench.check("the plug was pulled: no death", now["ending"] == "power_lost" and now["died_chance"] == 0.0, "0", now["died_chance"])
    if answered(bench, it, "how-ended", None):
        now = it.outing(number)
        bench.check("taken back: as it was", (now["ending"], now["died_chance"]) == (was["ending"], was["died_chance"]),
                    (was["ending"], was["died_chance"]), (now["ending"], now["died_chance"]))


@scenario("A good bank is not switched off with hours left, and is believed to hold what it delivered alive", long=True)
def good_bank(bench):
    plan, draw_w = plans.usb(3.0), 3.0
    with Station(bench, BLUE_TEN, power_off=True) as it:
        best_wh = 0.0
        for round_ in (1, 2, 3):
            bank = Bank(GOOD_WH)
            full(it, plan(0))
            it.play(plan, 15 * HOUR_S, bank=bank, every_s=5, watch=lambda _: it.asked_to_be_switched_off)
            off = it.runs and it.asked_to_be_switched_off
            left = max(0.0, bank.left_s(draw_w)) / 60.0
            bench.most(f"outing {round_}: {'switched off' if off else 'dead'} with so much left", left, 90, "min")
            best_wh = max(best_wh, it.new_count())
            if it.runs:
                it.shut_down()
            full(it, plan(0))
            it.play(plan, MINUTE_S)
            usable = it.bank("Blue ten")["usable_wh"]
            bench.least(f"after outing {round_}: the belief", usable["p50"], 0.97 * best_wh, "Wh")
            # A bank ages a little, and one run-down in five begins short of full.
            bench.least(f"after outing {round_}: the cautious belief", usable["p10"], 0.93 * best_wh, "Wh")
            it.shut_down()


@scenario("A bank half as good as its label is learned, and from the third outing on warned of in time")
def poor_bank(bench):
    plan, holds_wh = plans.usb(3.0), 15.0
    with Station(bench, BLUE_TEN, power_off=True) as it:
        for round_ in (1, 2, 3):
            bank, warned = Bank(holds_wh), []
            full(it, plan(0))
            it.play(plan, 15 * HOUR_S, bank=bank, every_s=30, watch=lambda now: warned.extend(
                bank.left_s(3.0) / 60 for one in now["alarms"] if one["about"] == "running_out" and not warned) or it.asked_to_be_switched_off)
            bench.note(f"outing {round_}: warned with {warned} min left, runs {it.runs}, {bank.left_s(3.0) / 60:.0f} min left")
            if it.runs:
                it.shut_down()
        bench.least("outing 3: the first warning comes so long before the end", warned[0] if warned else None, 30, "min")
        full(it, plan(0))
        it.play(plan, MINUTE_S)
        usable = it.bank("Blue ten")["usable_wh"]
        bench.near("it is believed to hold what it holds", usable["p50"], holds_wh, 2.0, "Wh")
        wholes = [outing["energy_wh"] for outing in it.outings() if outing["lasted_s"] > 600]
        bench.check("three outings are on record, none with more than it held", len(wholes) == 3 and max(wholes) < holds_wh + RECORD_WH, "three", wholes)


@scenario("While the board is fed otherwise nothing drains, and the forecast afterwards is that of before")
def fed_otherwise(bench):
    plan = plans.usb(8.0)
    with Station(bench, BLUE_TEN) as it:
        _, before = short_outing(it, plan)
        # The board hangs on the mains for a while; of the bank's converter the sensor sees 50 mW.
        it.play(plans.steady(5.2, 0.01), 45 * MINUTE_S)
        it.play(plan, 5 * MINUTE_S)
        now = it.now()
        bench.check("it is one outing", len(it.outings()) == 1, 1, len(it.outings()))
        bench.near("the energy counted", counted_wh(now), it.delivered_wh, 0.05, "Wh")
        for point in ("p10", "p50", "p90"):
            wanted = left_min(before, point) - 5
            bench.near(f"five minutes later, {point}", left_min(now, point), wanted, 0.08 * wanted, "min")


@scenario("The connected bank's tile changes nothing, and a change of bank can be undone for ten minutes")
def tiles(bench):
    plan = plans.usb(8.0)
    with Station(bench, BLUE_TEN + SPARE_LONG_SIX) as it:
        it.boot(synchronised_after_s=0, first=plan(0))
        it.play(plan, 40 * MINUTE_S)
        before = it.now()
        phone = it.phone()
        for what, tap in (("the connected bank's tile", lambda: phone.tap("/bank", bank="Blue ten")),
                          ("the same over the socket", lambda: it.post("/api/v1/bank", {"bank": "Blue ten"}))):
            bench.check(f"{what}: it is no error", tap() < 400, "done", "refused")
            it.play(plan, 2)
            as_it_was(bench, it, what, before, 0)
        swap_and_undo(bench, it, plan, before)
        it.post("/api/v1/bank", {"bank": "Long six"})
        it.play(plan, 11 * MINUTE_S)
        bench.check("after ten minutes the change stands", it.question("bank-changed") is None, "no question", it.question("bank-changed"))
        bench.check("after ten minutes it cannot be undone", not it.answer("bank-changed", "undo"), "refused", "taken")
        it.post("/api/v1/bank", {"bank": "Blue ten"})
        it.play(plan, 2)
        page = it.get(f"/banks/{it.bank('Long six')['id']}/test")
        told = "Long six" in page and "Blue ten" in page
        bench.check("a run-down test says that it takes Long six for connected, not Blue ten", told, "both names", "one")


def as_it_was(bench, it, what, before, minutes):
    """Checks that outing, energy and forecast are what they were, so many minutes later."""
    now = it.now()
    bench.check(f"{what}: one outing", len(it.outings()) == 1, 1, len(it.outings()))
    bench.check(f"{what}: Blue ten", now["bank"]["connected"]["name"] == "Blue ten", "Blue ten", now["bank"]["connected"]["name"])
    bench.near(f"{what}: its energy", counted_wh(now), it.delivered_wh, 0.05, "Wh")
    bench.near(f"{what}: its forecast", left_min(now), left_min(before) - minutes, 3, "min")


def swap_and_undo(bench, it, plan, before):
    """Another bank's tile, and undone five minutes later."""
    it.post("/api/v1/bank", {"bank": "Long six"})
    it.play(plan, 5 * MINUTE_S)
    now = it.now()
    bench.check("another bank's tile: Long six", now["bank"]["connected"]["name"] == "Long six", "Long six", now["bank"]["connected"]["name"])
    bench.check("another bank's tile: a new outing", len(it.outings()) == 2, 2, len(it.outings()))
    asks(bench, it, "bank-changed", ["undo"])
    if bench.check("it can be undone", it.answer("bank-changed", "undo"), "taken", "refused"):
        it.play(plan, 2)
        as_it_was(bench, it, "undone", before, 5)
