"""Outings of known composition, and their reports against it. `truth.py` says what each part truly took."""

import datetime
import json

import chips
from registry import DAY_S, HOUR_S, MINUTE_S, scenario
from station import BLUE_TEN, LONG_SIX, MORNING_S, STARTED_S, Station
from truth import FT4, FT8, JT65, Truth, every_other, never

# How far a report may be off: the energy, and what the processor's load takes.
ENERGY_SHARE, LOAD_SHARE = 0.01, 0.10


def switched_on(it, truth):
    """The power comes on at the beginning of this outing; the program starts a little later. Nobody doubts the
    clock, and the board's seconds are the truth's."""
    it.boot(synchronised_after_s=0, first=truth(STARTED_S))


def played(it, truth, until_s):
    """Plays on until then."""
    it.play(truth, until_s - it.clocks.boot_s, from_s=it.clocks.boot_s)


def ended(it):
    """The board is switched off, and is on again a week later: what the record then says of the outing, and its
    report, with the load as it was last told live."""
    live = it.now()["load"]
    it.shut_down()
    it.boot(off_s=6 * DAY_S, synchronised_after_s=0)
    outing = it.outings()[-1]
    report = json.loads(it.get(f"/api/v1/outings/{outing['id']}/report"))["report"]
    return outing, report | {"live_load": live}


def close_to(bench, what, got, wanted, share, unit):
    """Checks a figure of the report against the truth; the log has both, and how far they are apart."""
    if got is not None:
        bench.note(f"TABLE | {what} | {wanted:.3f} {unit} | {got:.3f} {unit} | {100 * (got / wanted - 1):+.1f} % |")
    bench.near(what, got, wanted, share * wanted, unit)


def energy_holds(bench, outing, report, truth, until_s):
    """The whole energy, on the report and in the list, is what flowed since the power came on."""
    flowed = truth.wh("whole", 0.0, until_s)
    close_to(bench, "the report's energy", report["energy"]["whole"]["energy_wh"], flowed, ENERGY_SHARE, "Wh")
    close_to(bench, "the list's energy", outing["energy_wh"], flowed, ENERGY_SHARE, "Wh")


# Where every minute has a transmission on the same sensor, none tells of the load alone.
NO_PAUSE = "transmissions never pause"


def load_holds(bench, truth, report, until_s, untold=None):
    """What all cores take, and what their work took. `untold`: why both may be missing, if they are live as well."""
    if untold and report["load"] is None:
        bench.check(f"the load is not told, as {untold}, and is not told live", report["live_load"] is None, None, report["live_load"])
        return
    load = report["load"] or {}
    close_to(bench, "all cores busy take", load.get("full_load_more_w"), truth.load_w, LOAD_SHARE, "W")
    took = truth.wh("load", 0.0, until_s) + truth.wh("decode", 0.0, until_s)
    close_to(bench, "work took", load.get("taken_wh"), took, LOAD_SHARE, "Wh")


def fold_holds(bench, truth, report, mode, sent, share=0.03):
    """One fold, of this slot: what was sent, and what for."""
    folds = [one for one in report["folds"] if one["slot_s"] == mode.slot_s]
    if not bench.check("the timed mode is folded", len(folds) == 1, f"slots of {mode.slot_s} s", [one["slot_s"] for one in report["folds"]]):
        return
    bench.near("slots that were sent", folds[0]["slots_sent"], len(sent), max(2, 0.03 * len(sent)), "")
    if sent:
        close_to(bench, "transmissions took", folds[0]["transmit_wh"], truth.wh("transmit"), share, "Wh")
    else:
        bench.most("transmissions that were none took", folds[0]["transmit_wh"], 0.001 * truth.wh(), "Wh")


def log_of(spans):
    """A contact log with these contacts: seconds since the power came on, from and to."""
    def when(at_s):
        return datetime.datetime.fromtimestamp(MORNING_S + at_s, datetime.UTC)
    return "<EOH>\n" + "".join(f"<CALL:6>N0CALL<QSO_DATE:8>{when(began):%Y%m%d}<TIME_ON:6>{when(began):%H%M%S}<QSO_DATE_OFF:8>{when(ended):%Y%m%d}"
                               f"<TIME_OFF:6>{when(ended):%H%M%S}<BAND:3>20m<MODE:3>FT8<EOR>\n" for began, ended in spans)


def hand_over(it, log):
    """Hands a contact log over in the terminal; what was said."""
    (it.folder / "log.adi").write_text(log)
    return it.outlast("outing", "contacts", str(it.folder / "log.adi"))[1]


@scenario("A report's energy and load are what an idle board with spells of work took")
def idle_and_work(bench):
    truth, until_s = Truth(2 * HOUR_S), 2 * HOUR_S
    for begins_s in range(300, 7200, 900):
        truth.busy(begins_s, begins_s + 240, 0.2 + begins_s / 7200 * 0.7)
    with Station(bench, BLUE_TEN, chip=chips.INA219, shunt_ohm=0.1) as it:
        switched_on(it, truth)
        played(it, truth, until_s)
        outing, report = ended(it)
        energy_holds(bench, outing, report, truth, until_s)
        load_holds(bench, truth, report, until_s)
        bench.check("nothing is folded", not report["folds"], "no fold", [one["slot_s"] for one in report["folds"]])


@scenario("With a transmitter and a decoder in 15 s slots on the same sensor, a report's parts are what each took")
def slots_of_15(bench):
    truth, until_s = Truth(2 * HOUR_S, load_w=3.4), 2 * HOUR_S
    sent = truth.slots(FT8, 300.37, until_s - 300, every_other, 4.0, decodes=0.6)
    contacts = [(begins_s + 0.63, begins_s + 75.63) for begins_s in sent[4::16]]
    with Station(bench, BLUE_TEN, chip=chips.INA226) as it:
        switched_on(it, truth)
        played(it, truth, until_s)
        hand_over(it, log_of(contacts))
        outing, report = ended(it)
        energy_holds(bench, outing, report, truth, until_s)
        load_holds(bench, truth, report, until_s, untold=NO_PAUSE)
        fold_holds(bench, truth, report, FT8, sent)
        told = report["contacts"]
        bench.check("every contact counts", told and told["contacts"] == len(contacts), len(contacts), told and told["contacts"])
        took = sum(truth.wh("whole", round(began), round(ended)) for began, ended in contacts)
        close_to(bench, "minutes of contact took", told and told["in_contact_wh"], took, 0.02, "Wh")


@scenario("With a transmitter in 7.5 s slots and a chip that counts energy, a report's parts are what each took")
def slots_of_7(bench):
    truth, until_s = Truth(1.5 * HOUR_S, open_v=13.2, ohm=0.06), 1.5 * HOUR_S
    sent = truth.slots(FT4, 300.6, until_s - 300, every_other, 18.0, decodes=0.5, decode_s=0.8)
    with Station(bench, LONG_SIX, chip=chips.INA228) as it:
        switched_on(it, truth)
        played(it, truth, until_s)
        outing, report = ended(it)
        energy_holds(bench, outing, report, truth, until_s)
        load_holds(bench, truth, report, until_s, untold=NO_PAUSE)
        fold_holds(bench, truth, report, FT4, sent)


@scenario("A receiver that only decodes is folded without a transmission")
def listens(bench):
    truth, until_s = Truth(1.5 * HOUR_S), 1.5 * HOUR_S
    truth.slots(FT8, 120.2, until_s - 60, never, 0.0, decodes=0.7, decode_s=2.5)
    with Station(bench, BLUE_TEN, chip=chips.INA226) as it:
        switched_on(it, truth)
        played(it, truth, until_s)
        outing, report = ended(it)
        energy_holds(bench, outing, report, truth, until_s)
        load_holds(bench, truth, report, until_s)
        fold_holds(bench, truth, report, FT8, [])


@scenario("A display and a fan that come on while a transmitter is in use are told by their marks")
def display_and_fan(bench):
    truth, until_s = Truth(1.5 * HOUR_S), 1.5 * HOUR_S
    sent = truth.slots(FT8, 0.4, until_s, lambda number: number % 2 == 0 and number // 40 % 2 == 1, 3.0, decodes=0.5)
    display_s, fan_s = 400.0, 3200.0
    truth.adds("display", display_s, until_s, 1.1)
    truth.adds("fan", fan_s, until_s, 0.7)
    with Station(bench, BLUE_TEN, chip=chips.INA226) as it:
        switched_on(it, truth)
        for at_s, text in ((display_s, "Display on"), (fan_s, "Fan on")):
            played(it, truth, at_s)
            it.post("/api/v1/mark", {"text": text})
        played(it, truth, until_s)
        outing, report = ended(it)
        energy_holds(bench, outing, report, truth, until_s)
        load_holds(bench, truth, report, until_s)
        fold_holds(bench, truth, report, FT8, sent)
        for text, part_w in (("Display on", 1.1), ("Fan on", 0.7)):
            told = [one for one in report["marks"] if one["text"] == text]
            if told:
                error_w = told[0]["error_w"]
                bench.near(f"{text}: it draws more", told[0]["more_w"], part_w, max(0.1 * part_w, 2 * error_w), "W")
            else:
                bench.note(f"{text}: not told")


@scenario("A program that starts again in the middle of an outing loses nothing from its report")
def restart_in_the_middle(bench):
    truth, until_s = Truth(1.5 * HOUR_S), 1.5 * HOUR_S
    for begins_s in range(200, 5400, 600):
        truth.busy(begins_s, begins_s + 200, 0.7)
    with Station(bench, BLUE_TEN, chip=chips.INA226) as it:
        switched_on(it, truth)
        for at_s in (1500.0, 3300.0):
            played(it, truth, at_s)
            it.restart(after_s=4.0)
        played(it, truth, until_s)
        bench.check("it is one outing", len(it.outings()) == 1, 1, len(it.outings()))
        outing, report = ended(it)
        energy_holds(bench, outing, report, truth, until_s)
        load_holds(bench, truth, report, until_s)


@scenario("A minute without power in the middle of an outing is nobody's energy")
def power_away(bench):
    truth, until_s, off_s = Truth(1.5 * HOUR_S), 1.5 * HOUR_S, MINUTE_S
    with Station(bench, BLUE_TEN, chip=chips.INA226) as it:
        switched_on(it, truth)
        played(it, truth, 2000.0)
        it.shut_down()
        it.boot(off_s=off_s, synchronised_after_s=0, first=truth(2000.0))
        began_s = it.clocks.boot_s
        # The power came on at 2000; the board has drawn since.
        it.play(truth, until_s - 2000.0 - began_s, from_s=2000.0 + began_s)
        bench.check("it is one outing", len(it.outings()) == 1, 1, len(it.outings()))
        outing, report = ended(it)
        energy_holds(bench, outing, report, truth, until_s)
        bench.least("most of it is measured", report["energy"]["whole"]["energy_wh"] - report["energy"]["modelled_wh"], 0.97 * truth.wh(), "Wh")


@scenario("With a boot, a restart, a crash and a sensor that is away, a report's parts are the energy that every list names")
def report_adds_up(bench):
    truth, until_s = Truth(2 * HOUR_S, load_w=3.4), 2 * HOUR_S
    truth.slots(FT8, 300.37, until_s - 300, every_other, 4.0, decodes=0.6)
    with Station(bench, BLUE_TEN, chip=chips.INA226) as it:
        switched_on(it, truth)
        played(it, truth, 1800.0)
        it.restart(after_s=20.0)
        played(it, truth, 3200.0)
        # No sensor for ten minutes; the station draws on.
        it.play(lambda _: None, 600.0, flows=truth)
        played(it, truth, 5400.0)
        # A crash in the same boot: up to a minute is not on the card.
        it.cut_power()
        it.clocks.move_to(it.clocks.boot_s + 60.0)
        it.wall_s += 60.0
        it.start()
        played(it, truth, until_s)
        bench.check("it is one outing", len(it.outings()) == 1, 1, len(it.outings()))
        outing, report = ended(it)
        energy, flowed = report["energy"], truth.wh("whole", 0.0, until_s)
        close_to(bench, "the list's energy", outing["energy_wh"], flowed, ENERGY_SHARE, "Wh")
        close_to(bench, "the report's energy", energy["total_wh"], flowed, ENERGY_SHARE, "Wh")
        unread = {part["why"]: part for part in energy["unread"]}
        activities = sum(one["energy_wh"] for one in energy["activities"]) + energy["untold"]["energy_wh"]
        parts = activities + sum(part["energy_wh"] for part in unread.values()) + energy["difference_wh"]
        bench.near("the parts add up to what the list says", parts, outing["energy_wh"], 1e-6, "Wh")
        # The last row may reach beyond the last moment that is known: ten seconds at most.
        bench.most("of it nothing is left over", abs(energy["difference_wh"]), 10 * 8.0 / 3600, "Wh")
        # Seconds from power-on until the program read; its own rows are of ten.
        bench.near("the boot", unread.get("starting", {}).get("lasted_s"), STARTED_S, 10.0, "s")
        bench.near("the sensor was away", unread.get("no_reading", {}).get("lasted_s"), 600.0, 20.0, "s")
        bench.near("nobody ran or wrote", unread.get("not_running", {}).get("lasted_s"), 80.0 + 30.0, 50.0, "s")
        load_holds(bench, truth, report, until_s, untold=NO_PAUSE)
        said = it.outlast("outing", "show", str(outing["id"]))[1]
        lines = [line.split() for line in said[said.index("Where the energy went"):].splitlines()[2:]]
        end = next(ix for ix, line in enumerate(lines) if line[0] == "All")
        shown = [next(float(word) for word in line if word.replace(".", "").isdigit()) for line in lines[:end + 1]]
        bench.near("what is shown of the parts is what is shown of all", sum(shown[:-1]), shown[-1], 1e-6, "Wh")


@scenario("A transmitter in 60 s slots comes apart, as one in 15 s slots does")
def slots_of_60(bench):
    truth, until_s = Truth(2.5 * HOUR_S), 2.5 * HOUR_S
    sent = truth.slots(JT65, 300.4, until_s - 300, every_other, 5.0, decodes=0.7, decode_s=6.0)
    with Station(bench, BLUE_TEN, chip=chips.INA226) as it:
        switched_on(it, truth)
        played(it, truth, until_s)
        outing, report = ended(it)
        energy_holds(bench, outing, report, truth, until_s)
        fold_holds(bench, truth, report, JT65, sent)
