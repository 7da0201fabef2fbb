#!/usr/bin/env python3
"""Makes the reference run-downs beside this file: banks with a known time of death.

    python3 -m venv venv && venv/bin/pip install pybamm==26.10.1.1 numpy==2.4.6
    venv/bin/python make.py

The cells are solved by PyBaMM (BSD-3) from published parameter sets; converter, board, radio and
operator are the plain models below. Seeds are fixed, so the same package versions on the same kind
of machine give the same files. `manifest.csv` says what an owner would know; where a file ends, the
bank died. Data made by this script carry the project's licence.
"""
import os

os.environ.setdefault("PYBAMM_DISABLE_TELEMETRY", "true")
import numpy as np
import pybamm

SEED = 8073
ROW_S = 10
OUTINGS = 4
HERE = os.path.dirname(os.path.abspath(__file__))

# name, kind, parameter set, cells in series, label mAh, label V, V a cell at cut-off,
# board idle W, board full W, radio receive A, radio transmit A
BANKS = [
    ("blue_ten", "usb", "ORegan2022", 1, 5000, 3.7, 2.8, 2.0, 4.6, 0, 0),
    ("green_ten", "usb", "Ecker2015", 1, 10000, 3.7, 3.0, 3.2, 6.8, 0, 0),
    ("small_four", "usb", "Marquis2019", 1, 4000, 3.7, 3.2, 1.6, 3.6, 0, 0),
    ("long_six", "lifepo4", "Prada2013", 4, 6000, 12.8, 2.5, 3.1, 6.4, 0.35, 1.6),
    ("short_four", "lifepo4", "Prada2013", 4, 4000, 12.8, 2.5, 2.0, 4.4, 0.30, 1.1),
    ("three_cells", "li-ion", "OKane2022", 3, 5200, 11.1, 3.0, 3.1, 6.4, 0.45, 1.9),
]


def spells(rng, seconds):
    """What the operator does, minute by minute: 0 idle, 1 listening, 2 contacts, 3 logging."""
    mix = rng.dirichlet([0.8, 1.5, 1.2, 0.8])
    doing = np.empty(seconds, int)
    t = 0
    while t < seconds:
        span = int(rng.gamma(2.0, 1500.0)) + 300
        doing[t:t + span] = rng.choice(4, p=mix)
        t += span
    return doing


def load(rng, bank, seconds):
    """Second by second: processor use, board W, radio A (means over the second)."""
    idle, full, receive, transmit = bank[7:]
    doing = spells(rng, seconds)
    t = np.arange(seconds)
    phase = int(rng.integers(0, 15))
    slot = (t - phase) // 15
    within = (t - phase) % 15
    sends = (doing == 2) & (slot % 2 == 0)
    busy = 0.03 + 0.08 * (doing == 1) + 0.14 * (doing == 2) + 0.10 * (doing == 3)
    heard = (doing == 1) | ((doing == 2) & (slot % 2 == 1))
    # The decoder works for three seconds after a slot that was heard: at the start of the next.
    busy = busy + 0.65 * (np.roll(heard, 15) & (within < 3))
    busy = np.clip(busy + rng.normal(0, 0.02, seconds) + 0.5 * (rng.random(seconds) < 0.004), 0, 1)
    person = 0.6 * ((doing == 2) | (doing == 3))
    board = idle + (full - idle) * busy**0.9 + person
    radio = np.where(sends & (within < 13), transmit, receive) if transmit else np.zeros(seconds)
    return busy, board, radio


def tens(x):
    return x[: len(x) // ROW_S * ROW_S].reshape(-1, ROW_S).mean(1)


def solve(name, cutoff, t_s, cell_w, ambient_c, level):
    """Terminal voltage of one cell under a given power, until the cut-off."""
    values = pybamm.ParameterValues(name)
    values.update(
        {
            "Power function [W]": lambda t: pybamm.Interpolant(t_s, cell_w, t),
            "Lower voltage cut-off [V]": cutoff,
            "Ambient temperature [K]": 273.15 + ambient_c,
            "Initial temperature [K]": 273.15 + ambient_c,
        },
        check_already_exists=False,
    )
    model = pybamm.lithium_ion.SPMe({"operating mode": "power"})
    sim = pybamm.Simulation(model, parameter_values=values, solver=pybamm.IDAKLUSolver())
    found = sim.solve([0, float(t_s[-1])], t_interp=t_s, initial_soc=level)
    return np.asarray(found.t), np.asarray(found["Voltage [V]"].entries)


def cell_wh(name, cutoff):
    """Energy of one cell at a tenth of its capacity an hour, Wh."""
    values = pybamm.ParameterValues(name)
    values.update({"Lower voltage cut-off [V]": cutoff})
    values["Current function [A]"] = values["Nominal cell capacity [A.h]"] / 10
    sim = pybamm.Simulation(pybamm.lithium_ion.SPMe(), parameter_values=values)
    found = sim.solve([0, 14 * 3600], initial_soc=1.0)
    v, t = found["Voltage [V]"].entries, found.t
    i = float(values["Nominal cell capacity [A.h]"]) / 10
    return float(np.sum(0.5 * (v[1:] + v[:-1]) * i * np.diff(t)) / 3600)


def outing(rng, bank, cells, converter, ambient_c, file):
    name, kind, chemistry, series, _, _, cutoff = bank[:7]
    seconds = 16 * 3600
    busy, board, radio = load(rng, bank, seconds)
    ohms = converter["ohms"]
    if kind == "usb":
        out_a = board / 5.1
        loss = converter["idle_w"] + 0.2 * out_a + converter["square"] * out_a**2
        pack_w = board + loss
    else:
        pack_w = board / converter["efficiency"] + 13.0 * radio
    t = np.arange(0, seconds, float(ROW_S)) + ROW_S / 2
    w = tens(pack_w)
    level = rng.uniform(0.985, 1.0) if rng.random() < 0.8 else rng.uniform(0.94, 0.985)
    t_v, v = solve(chemistry, cutoff, np.append(0.0, t), np.append(w[0], w) / cells, ambient_c, level)
    end = int(t_v[-1])
    rows = np.arange(ROW_S, end + 1, ROW_S, float)
    busy_r, board_r, radio_r = (tens(x)[: len(rows)] for x in (busy, board, radio))
    if kind == "usb":
        amps = board_r / 5.1
        volts = 5.1 - ohms * amps
        amps = board_r / volts
    else:
        pack_v = series * np.interp(rows - ROW_S / 2, t_v, v)
        amps = board_r / converter["efficiency"] / pack_v + radio_r
        volts = pack_v - ohms * amps
    gain = converter["gain"]
    amps = np.round((amps * gain + rng.normal(0, 0.002, len(amps))) / 0.0005) * 0.0005
    volts = np.round(volts / 0.00125) * 0.00125
    temp = np.round((ambient_c + 6 * board_r) * 2) / 2
    with open(os.path.join(HERE, file), "w") as f:
        f.write("t_s,cpu_util,cpu_temp_c,bus_v,current_a\n")
        for r in zip(rows, busy_r, temp, volts, amps):
            f.write("%d,%.2f,%.1f,%.3f,%.4f\n" % r)
    return end


def main():
    manifest = ["file,bank,cells,series,label_mah,label_v,cutoff_v,idle_w,full_w,receive_a,transmit_a,ambient_c,lasted_s"]
    for number, bank in enumerate(BANKS):
        rng = np.random.default_rng([SEED, number])
        name, kind, chemistry, series, mah, label_v, cutoff = bank[:7]
        converter = {
            "idle_w": rng.uniform(0.05, 0.2),
            "square": rng.uniform(0.08, 0.25),
            "efficiency": rng.uniform(0.85, 0.93),
            "ohms": rng.uniform(0.05, 0.2),
            "gain": rng.normal(1, 0.004),
        }
        held = rng.uniform(0.80, 0.98)
        cells = mah / 1000 * label_v * held / cell_wh(chemistry, cutoff)
        for k in range(OUTINGS):
            ambient = float(rng.uniform(-2, 30))
            cells *= 1 - rng.uniform(0.001, 0.006)
            file = f"{name}_{k + 1}.csv"
            end = outing(rng, bank, cells, converter, ambient, file)
            told = round(ambient + rng.normal(0, 1.5))
            cut = series * cutoff if kind != "usb" else ""
            head = "li-ion" if kind == "usb" else kind
            manifest.append(f"{file},{name},{head},{series},{mah},{label_v},{cut},"
                            + ",".join(str(x) for x in bank[7:]) + f",{told},{end}")
            print(manifest[-1], flush=True)
    with open(os.path.join(HERE, "manifest.csv"), "w") as f:
        f.write("\n".join(manifest) + "\n")


if __name__ == "__main__":
    main()
