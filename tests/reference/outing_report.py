"""Reference figures for the outing report, from general-purpose libraries.

Run:  python outing_report.py > outing_report.txt      (numpy 2.4.6, scipy 1.17.1, Python 3.11)

A made-up outing in rows of a minute. Lines are  kind | first numbers | second numbers | results.
rows      busy share | mean watts | J in all (numpy.trapezoid over the staircase), W mean
          (numpy.average), W not exceeded for 95 % of the time (numpy.quantile, inverted_cdf)
parts     where each begins, s | nothing | J of each (numpy.add.reduceat over single seconds)
hours     where each begins, s | nothing | J of each (the same)
load      nothing | nothing | slope, watts at no load, standard error of the slope, J above idle
          (scipy.stats.linregress of watts on busy, both off their means over each six rows)
judged    10 %, 50 %, 90 % of each forecast, s, one after the other | what came, s | share that
          held it, numpy.median of the misses, s
"""

import numpy as np
from scipy import stats

rng = np.random.default_rng(7)
MINUTES, SPAN = 131, 60


def show(kind, first, second, results):
    def numbers(of):
        return " ".join(repr(float(one)) for one in np.atleast_1d(of))

    print(kind, numbers(first), numbers(second), numbers(results), sep=" | ")


minute = np.arange(MINUTES)
busy = np.round(rng.uniform(0.05, 0.9, MINUTES), 3)
watts = np.round(2.3 + 2.9 * busy + np.where(minute > 70, 4.0, 0.0) * (minute % 4 < 1) + rng.normal(0, 0.1, MINUTES), 3)
seconds = np.repeat(watts, SPAN)
edges = np.repeat(np.arange(MINUTES + 1) * float(SPAN), 2)[1:-1]
whole = np.trapezoid(np.repeat(watts, 2), edges)
show("rows", busy, watts, [whole, np.average(watts), np.quantile(watts, 0.95, method="inverted_cdf")])
parts = np.array([0, 401, 2222, 4000, 5999])
show("parts", parts, [0], np.add.reduceat(seconds, parts))
hours = np.array([0, 3600, 7200])
show("hours", hours, [0], np.add.reduceat(seconds, hours))
groups = busy[:MINUTES // 6 * 6].reshape(-1, 6), watts[:MINUTES // 6 * 6].reshape(-1, 6)
off = [(one - one.mean(axis=1, keepdims=True)).ravel() for one in groups]
fit = stats.linregress(*off)
idle = groups[1].mean() - fit.slope * groups[0].mean()
show("load", [0], [0], [fit.slope, idle, fit.stderr, fit.slope * busy.sum() * SPAN])
came = np.arange(31_100.0, 2_000.0, -2_900.0)
middle = np.round(came * np.exp(rng.normal(0, 0.12, came.size)))
three = np.round(np.stack([middle * 0.85, middle, middle * 1.17], axis=1))
inside = (three[:, 0] <= came) & (came <= three[:, 2])
show("judged", three.ravel(), came, [inside.mean(), np.median(np.abs(middle - came))])
