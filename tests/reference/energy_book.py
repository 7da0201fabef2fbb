"""Reference figures for the energy book, from general-purpose libraries.

Run:  python energy_book.py > energy_book.txt      (numpy 2.4.6, scipy 1.17.1, Python 3.11)

Each line is  kind | first numbers | second numbers | results  with numbers apart by blanks.
line       x | y | slope, intercept, their standard errors, r squared     scipy.stats.linregress
trapezoid  t | y | energy                                                 numpy.trapezoid
quantiles  weights | values | 0.05 0.50 0.95                              numpy.quantile, weights,
                                                                          method inverted_cdf
difference before | after | difference, its standard error                scipy.stats.ttest_ind
                                                                          (equal_var=False)
gamma      shape, scale | quantile levels | quantiles                     scipy.stats.gamma.ppf
"""

import numpy as np
from scipy import stats

rng = np.random.default_rng(20)


def show(kind, first, second, results):
    def numbers(of):
        return " ".join(repr(float(one)) for one in np.atleast_1d(of))

    print(kind, numbers(first), numbers(second), numbers(results), sep=" | ")


def line(x, y):
    fit = stats.linregress(x, y)
    show("line", x, y, [fit.slope, fit.intercept, fit.stderr, fit.intercept_stderr, fit.rvalue**2])


busy = np.round(rng.uniform(0.02, 0.95, 25), 4)
line(busy, np.round(2.4 + 3.1 * busy + rng.normal(0, 0.15, 25), 4))
# A load that hardly moves on a large draw: naive sums of squares lose digits here.
still = np.round(0.5 + rng.normal(0, 1e-4, 20), 7)
line(still, np.round(1e4 + 40 * still + rng.normal(0, 1e-3, 20), 7))
line(np.array([0.1, 0.4, 0.9]), np.array([3.0, 2.0, 4.5]))

t = np.cumsum(np.round(rng.uniform(0.6, 1.4, 40), 3))
show("trapezoid", t, (y := np.round(4 + 2 * np.sin(t / 5) + rng.normal(0, 0.2, 40), 4)), [np.trapezoid(y, t)])

for spread in (0.05, 0.8):
    watts = np.round(np.exp(rng.normal(1.2, spread, 60)), 5)
    weights = np.round(rng.uniform(0.5, 2.0, 60), 3)
    cut = np.quantile(watts, [0.05, 0.50, 0.95], weights=weights, method="inverted_cdf")
    show("quantiles", weights, watts, cut)

before = np.round(rng.normal(3.0, 0.1, 12), 4)
after = np.round(rng.normal(3.6, 0.2, 9), 4)
test = stats.ttest_ind(after, before, equal_var=False)
gap = after.mean() - before.mean()
show("difference", before, after, [gap, gap / test.statistic])

for n in (3, 10, 47):
    levels = [0.1, 0.5, 0.9]
    show("gamma", [n + 0.5, 1.0], levels, stats.gamma.ppf(levels, n + 0.5))
