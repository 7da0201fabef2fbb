"""What is played, and what must come of it. Each scenario is named by the sentence that it holds the program to."""

import json
import re
import shutil

import plans
from station import BLUE_TEN, LONG_SIX, SPARE_LONG_SIX, Bank, Station

ALL = {}
# Played before all others: they begin with the bank as it leaves it.
FIRST = "truth"

# A USB bank that is what its label says, and one that is not. 10 000 mAh at 3.7 V are 37 Wh at the cells; behind
# the converter 28 to 33 Wh are to be had (common practice, no source).
GOOD_WH, POOR_WH = 30.2, 19.2
# 5 V and 3 A are what such a bank gives at most (USB Type-C specification, 4.5.2.3); near that, hours are short.
HARD_W = 14.0


class Scenario:
    """A sentence and how it is played."""

    def __init__(self, sentence, play):
        self.sentence, self.play = sentence, play


def scenario(sentence):
    """Registers a function under its name."""
    def add(play):
        ALL[play.__name__] = Scenario(sentence, play)
        return play
    return add


# ---- what is looked at ----------------------------------------------------------------------------


def left_s(now, point="p10"):
    """A point of the forecast, seconds; None where there is none."""
    remaining = now["forecast"]["remaining_s"]
    return remaining and remaining[point]


def minutes(seconds):
    """For a check in minutes."""
    return None if seconds is None else seconds / 60.0


def limits(now):
    """The alarms that stand."""
    return sorted(alarm["about"] + ": " + alarm["text"] for alarm in now["alarms"])


def counted_wh(now):
    """The energy that the program has counted."""
    return now["bank"]["delivered_wh"]


@scenario("The energy counted is what truly flowed, and a bank run down to its end teaches")
def truth(bench):
    with Station(bench, BLUE_TEN) as it:
        for round_ in (1, 2):
            bank = Bank(GOOD_WH)
            it.boot(off_s=40_000, synchronised_after_s=0, first=plans.usb(HARD_W)(0))
            it.play(plans.usb(HARD_W), 5)
            number = it.bank("Blue ten")["id"]
            it.post(f"/api/v1/banks/{number}/test", {})
            it.new_count()
            it.play(plans.usb(HARD_W), 3600, bank=bank)
            bench.near(f"run-down {round_}: counted in an hour", counted_wh(it.now()), it.delivered_wh, 0.005 * it.delivered_wh, "Wh")
            it.play(plans.usb(HARD_W), 4 * 3600, bank=bank)
            bench.check(f"run-down {round_}: the bank cuts out", not it.runs, "dead", "alive")
        it.boot(off_s=40_000, synchronised_after_s=0, first=plans.usb(HARD_W)(0))
        it.play(plans.usb(HARD_W), 30)
        runs = it.bank("Blue ten")["rundowns"]
        bench.check("both run-downs are credited as whole", [run["whole"] for run in runs] == [True, True], "two whole ones", runs)
        for run in runs:
            bench.near("one of them delivered", run["delivered_wh"], GOOD_WH, 0.01 * GOOD_WH, "Wh")
        for outing in it.outings()[1:]:
            if outing["lasted_s"] > 600:
                bench.near(f"outing {outing['id']} delivered", outing["energy_wh"], GOOD_WH, 0.01 * GOOD_WH, "Wh")
                bench.check(f"outing {outing['id']} ran empty", outing["ending"] == "died", "died", outing["ending"])
        it.shut_down()
        shutil.copytree(it.state, bench.taught)
