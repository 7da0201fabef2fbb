"""Reads an exported outing with a general data library (polars) and checks types, order and sums.

    check.py OUTING.csv OUTING.json

Exit code 0 if everything is as a reader of such files expects.
"""

import csv
import json
import sys

import polars as pl

REPLAY = ["t_s", "cpu_util", "cpu_temp_c", "bus_v", "current_a"]
FULL = ["volts_v", "current_a", "power_w", "cpu_busy", "cpu_temp_c"]


def near(a, b, share):
    return abs(a - b) <= share * max(abs(a), abs(b), 1e-9)


def check_table(path):
    # No types are told: what polars makes of the columns is what is checked.
    table = pl.read_csv(path, infer_schema_length=None)
    assert table.columns[:5] == REPLAY, table.columns[:5]
    for name in REPLAY + [f"{c}_{f}" for c in FULL for f in ("mean", "min", "max")]:
        assert table[name].dtype.is_numeric(), f"{name} was read as {table[name].dtype}"
    assert table["events"].dtype == pl.String, table["events"].dtype
    assert table.height > 100, f"only {table.height} rows"
    assert table["t_s"].is_sorted()
    for name in FULL:
        some = table.drop_nulls(f"{name}_mean")
        low, mean, high = (some[f"{name}_{f}"] for f in ("min", "mean", "max"))
        assert ((low <= mean + 1e-6) & (mean <= high + 1e-6)).all(), name
    # RFC 4180: the standard library's reader finds as many fields in each record, and the same.
    with open(path, newline="") as file:
        records = list(csv.reader(file, strict=True))
    assert len(records) == table.height + 1
    assert {len(record) for record in records} == {table.width}
    assert [record[-1] for record in records[1:]] == [e or "" for e in table["events"]]
    assert any("activity" in (e or "") for e in table["events"]), "an activity stands in some row"
    return table


def check_sums(table, whole):
    facts = whole["outing"]
    for key in ("bank", "ending", "lasted_s", "energy_wh"):
        assert facts.get(key) is not None, f"{key} is missing in {facts}"
    energy = (table["power_w_mean"] * table["span_s"]).sum() / 3600
    assert near(energy, facts["energy_wh"], 0.02), (energy, facts["energy_wh"])
    # Power is voltage times current, but for what is rounded away.
    product = (table["bus_v"] * table["current_a"]).mean()
    assert near(product, table["power_w_mean"].mean(), 0.02)
    frame = pl.DataFrame({"t_s": whole["t_s"], "w": whole["channels"]["power_w"]["mean"]})
    assert frame["t_s"].dtype.is_numeric() and frame["w"].dtype == pl.Float64
    assert frame.height == table.height


def main():
    table_path, json_path = sys.argv[1:]
    table = check_table(table_path)
    with open(json_path) as file:
        check_sums(table, json.load(file))
    print(f"{table.height} rows and {table.width} columns read as they were meant")


main()
