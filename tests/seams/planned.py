"""An outing that is started with a plan: its forecast knows what is coming, a restart forgets nothing, and its report
lays the plan beside what came."""

import json

import plans
from registry import HOUR_S, MINUTE_S, scenario
from scenarios import LONG_OFF_S, full, left_min
from station import BLUE_TEN, Bank, Station

# Planned: forty minutes at 4 W, then two hours and more at 14 W; in truth 10 W.
QUIET_W, PLANNED_W, REAL_W = 4.0, 14.0, 10.0
QUIET_S, LONGEST_H = 40 * MINUTE_S, 2.0
# What a new bank gives that is what most labels mean.
HOLDS_WH = 26.0
PLAN = {
    "bank": {"known": "Blue ten"},
    "draw": {"idle_w": QUIET_W, "full_w": QUIET_W + 1.0},
    "stretch": [{"hours": QUIET_S / HOUR_S, "busy": 0.0}, {"hours": LONGEST_H, "busy": 0.0, "extra_w": PLANNED_W - QUIET_W}],
}


def planned_min(bank, quiet_left_s):
    """How long a bank lasts as it was planned."""
    return (quiet_left_s + (bank.left_wh - QUIET_W * quiet_left_s / HOUR_S) / PLANNED_W * HOUR_S) / 60.0


def is_as_planned(bench, it, what, bank, quiet_left_s):
    """The range holds what was planned, and its middle is near that, though hardly anything is drawn yet."""
    now, wanted = it.now(), planned_min(bank, quiet_left_s)
    bench.most(f"{what}: the cautious end", left_min(now), wanted, "min")
    bench.near(f"{what}: the likely end", left_min(now, "p50"), wanted, 0.25 * wanted, "min")
    bench.least(f"{what}: the far end", left_min(now, "p90"), wanted, "min")


@scenario("An outing that is started with a plan expects what was planned, and its report lays the two side by side")
def started_with_a_plan(bench):
    quiet, hard, bank = plans.usb(QUIET_W), plans.usb(REAL_W), Bank(HOLDS_WH)
    with Station(bench, BLUE_TEN) as it:
        full(it, quiet(0))
        it.play(quiet, 5 * MINUTE_S, bank=bank)
        by_itself = left_min(it.now(), "p50")
        bench.check("the plan is taken", it.post("/api/v1/plan/start", PLAN) == 204, 204, "refused")
        it.play(quiet, MINUTE_S, bank=bank)
        finish_min = (QUIET_S + LONGEST_H * HOUR_S) / 60.0
        finish_s = it.now()["forecast"]["finish_in_s"]
        bench.near("the finish is its end", finish_s and finish_s / 60.0, finish_min - 1.0, 0.2, "min")
        is_as_planned(bench, it, "begun", bank, QUIET_S - MINUTE_S)
        bench.note(f"without the plan it said {by_itself} min, with it {left_min(it.now(), 'p50')} min")
        it.play(quiet, 19 * MINUTE_S, bank=bank)
        it.restart()
        it.play(quiet, 10 * MINUTE_S, bank=bank)
        is_as_planned(bench, it, "after a restart", bank, QUIET_S - 30 * MINUTE_S)
        it.play(quiet, 10 * MINUTE_S, bank=bank)
        it.play(hard, HOUR_S, bank=bank)
        now = it.now()["bank"]
        by_draw = (now["usable_wh"]["p50"] - now["delivered_wh"]) / REAL_W * 60.0
        bench.near("what is really drawn counts", left_min(it.now(), "p50"), by_draw, 0.2 * by_draw, "min")
        it.play(hard, 4 * HOUR_S, bank=bank)
        it.boot(off_s=LONG_OFF_S, synchronised_after_s=0, first=quiet(0))
        it.play(quiet, MINUTE_S)
        reported(bench, it, it.outings()[1]["id"])


def reported(bench, it, outing):
    """The report of the outing, once somebody has said that the bank was empty."""
    it.post(f"/api/v1/outings/{outing}/ending", {"died": True})
    report = json.loads(it.get(f"/api/v1/outings/{outing}/report"))["report"]
    plan = report["plan"]
    if not bench.check("its report has the plan", plan is not None, "a plan", report["plan_gap"]):
        return
    quiet, hard = plan["stretches"]
    bench.near("it was started five minutes in", plan["began_s"] / 60.0, 5.1, 1.0, "min")
    bench.check("the bank was empty", plan["bank_was_empty"], True, plan["bank_was_empty"])
    truly = QUIET_S / 60.0 + (HOLDS_WH - QUIET_W * (QUIET_S + 5 * MINUTE_S) / HOUR_S) / REAL_W * 60.0
    bench.near("it lasted", plan["came_s"] / 60.0, truly, 2.0, "min")
    bench.near("the bank gave", plan["gave_wh"], HOLDS_WH - QUIET_W * 5.0 / 60.0, 0.35, "Wh")
    bench.near("planned at first", quiet["planned_w"], QUIET_W, 1.0, "W")
    bench.near("drawn at first", quiet["drew_w"], QUIET_W, 0.1, "W")
    bench.near("drawn later", hard["drew_w"], REAL_W, 0.2, "W")
    wrong = plan["most_wrong"] or {}
    bench.check("most wrong was the later draw", wrong.get("what") == "draw" and wrong.get("from_s") == hard["from_s"], "draw", wrong)
    # By arithmetic: what is left after the first stretch lasts so much longer at less.
    rest_wh = plan["usable_wh"]["p50"] - quiet["planned_w"] * QUIET_S / HOUR_S
    moved = (rest_wh / REAL_W - rest_wh / hard["planned_w"]) * 60.0
    bench.near("what that moved", wrong.get("moved_s", 0.0) / 60.0, moved, 3.0, "min")
    page = it.get(f"/outings/{outing}")
    bench.check("the page says it", "Most wrong was the draw of stretch 2" in page, "a sentence", "none")
