"""Reference figures for the panel in the sun, from pvlib.

Run:  python sun.py > sun.txt      (pvlib 0.16.1, Python 3.11)

Zeniths are true ones; haurwitz alone takes the one that the air lifts, as its text asks. Lines are
kind | first numbers | second numbers | results.
sun       latitude, longitude | s since 1970 | zenith, azimuth (solarposition.get_solarposition), the
          sun's power above the air, W/m² (irradiance.get_extra_radiation, nrel)
light     latitude, longitude, tilt, azimuth | s since 1970, share of cloud | W/m² on level ground
          (clearsky.haurwitz × (1 - 0.75 cloud^3.4)), beam, diffuse (irradiance.erbs), on the panel
          (irradiance.get_total_irradiance, haydavies, albedo 0.25), and what 100 W give at 30 °C of the
          air (temperature.ross with NOCT 45, pvsystem.pvwatts_dc, losses of pvsystem.pvwatts_losses)
day       latitude, longitude, tilt, azimuth | s since 1970, share of cloud | Wh of such a panel over
          24 h from then, minute by minute
level     latitude, longitude | s since 1970 | kWh/m² on level ground over 24 h, highest sun
daylight  latitude, longitude | s since 1970 | h from sunrise to sunset (geometric: a zenith of 90° and
          no bending of light; counted by minutes over 24 h)
"""

import numpy as np
import pandas as pd
from pvlib import clearsky, irradiance, pvsystem, solarposition, temperature

PLACES = [(46.0, 7.0), (60.2, 24.9), (0.0, -78.5), (-33.9, 18.4), (-45.0, 170.5), (78.2, 15.6), (35.7, 139.7)]
DAYS = ["2026-03-20", "2024-06-21", "2024-09-21", "2028-12-21", "2032-02-29"]


def show(kind, first, second, results):
    def numbers(of, digits):
        return " ".join(repr(round(float(one), digits)) for one in np.atleast_1d(of))

    print(kind, numbers(first, 4), numbers(second, 4), numbers(results, 4), sep=" | ")


def sky(place, times):
    stands = solarposition.get_solarposition(times, *place)
    above = irradiance.get_extra_radiation(times, method="nrel", epoch_year=times[0].year)
    return stands, above


def light(place, panel, times, cloud):
    stands, above = sky(place, times)
    level = clearsky.haurwitz(stands.apparent_zenith).ghi * (1 - 0.75 * cloud**3.4)
    split = irradiance.erbs(level, stands.zenith, times)
    on = irradiance.get_total_irradiance(
        *panel, stands.zenith, stands.azimuth, split.dni, level, split.dhi, dni_extra=above, albedo=0.25, model="haydavies"
    ).poa_global.fillna(0.0)
    cells = temperature.ross(on, 30.0, noct=45.0)
    kept = 1 - pvsystem.pvwatts_losses() / 100
    watts = pvsystem.pvwatts_dc(on, cells, 100.0, -0.004) * kept
    return level, split.dni, split.dhi, on, watts


def seconds(times):
    return (times - pd.Timestamp("1970-01-01", tz="UTC")).total_seconds()


for place in PLACES:
    for day in DAYS:
        times = pd.date_range(day, periods=6, freq="4h", tz="UTC") + pd.Timedelta("37min")
        stands, above = sky(place, times)
        for row in range(len(times)):
            show("sun", place, seconds(times)[row], [stands.zenith.iloc[row], stands.azimuth.iloc[row], above.iloc[row]])
for place, panel in [((46.0, 7.0), (35.0, 180.0)), ((46.0, 7.0), (90.0, 90.0)), ((-45.0, 170.5), (50.0, 340.0)), ((0.0, -78.5), (0.0, 0.0))]:
    for day, cloud in [("2026-06-21", 0.0), ("2028-12-21", 0.6), ("2026-03-20", 1.0)]:
        times = pd.date_range(day, periods=8, freq="3h", tz="UTC") + pd.Timedelta("20min")
        got = light(place, panel, times, cloud)
        for row in range(len(times)):
            if got[0].iloc[row] > 0:
                show("light", [*place, *panel], [seconds(times)[row], cloud], [one.iloc[row] for one in got])
        times = pd.date_range(day, periods=24 * 60, freq="1min", tz="UTC")
        show("day", [*place, *panel], [seconds(times)[0], cloud], light(place, panel, times, cloud)[4].sum() / 60)
for place in PLACES:
    for day in DAYS:
        times = pd.date_range(day, periods=24 * 60, freq="1min", tz="UTC")
        stands, _ = sky(place, times)
        level = clearsky.haurwitz(stands.apparent_zenith).ghi
        show("level", place, seconds(times)[0], [level.sum() / 60e3, stands.elevation.max()])
        show("daylight", place, seconds(times)[0] + 43200, (stands.elevation > 0).sum() / 60)
