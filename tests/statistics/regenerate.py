#!/usr/bin/env python3
"""Makes golden.tsv, the figures that src/training/statistics.rs, src/vehicle/normal.rs and
src/vehicle/law.rs must give, from scipy and statsmodels. Prints the table; with --write, replaces
golden.tsv.

  python3 -m venv v && v/bin/pip install scipy statsmodels
  v/bin/python tests/statistics/regenerate.py --write

Rows, by their first column:
  wilson   k, n, z; lower and upper end
  normal   p; the standard normal quantile
  tail     spread in thousandths, lo and hi of the span and the length, in ms; the part of draws that is
           longer, where hi is the 95th percentile and lo the floor
  length   spread in thousandths, lo and hi in ms, p; the length below which draws lie with p, in ms
  sd       p, n; the standard error of a fraction
  jeffreys k, n; lower and upper end of the equal-tailed interval
  exact    k, n; lower and upper end of Clopper and Pearson's
  unit     n, rate in thousandths; the time of the n-th as a part of the first, by the unit form
"""
import math
import os
import sys

from scipy.stats import beta, binomtest, lognorm, norm
from statsmodels.stats.proportion import proportion_confint

Z95 = norm.ppf(0.975)


def spread(thousandths, lo, hi):
    """The log-normal above `lo` whose 95th percentile is `hi`."""
    sigma = thousandths / 1000
    return lognorm(sigma, loc=lo, scale=(hi - lo) * math.exp(-sigma * norm.ppf(0.95)))


def rows():
    for k, n in [(0, 1), (1, 1), (3, 3), (8, 10), (10, 10), (19, 20), (20, 20), (59, 60), (7, 50),
                 (81, 263), (15, 148), (0, 20), (1, 29), (10, 11), (90, 100), (100, 100),
                 (1, 100000), (99999, 100000), (123456, 1000000)]:
        lo, hi = proportion_confint(k, n, method="wilson")
        again = binomtest(k, n).proportion_ci(method="wilson")
        assert math.isclose(lo, again.low, abs_tol=1e-12), (k, n)
        assert math.isclose(hi, again.high, abs_tol=1e-12), (k, n)
        lo_, hi_ = beta.ppf([0.025, 0.975], k + 0.5, n - k + 0.5)
        yield "jeffreys", k, n, repr(float(lo_)), repr(float(hi_))
        lo_, hi_ = proportion_confint(k, n, method="beta")
        again = binomtest(k, n).proportion_ci(method="exact")
        assert math.isclose(lo_, again.low, abs_tol=1e-9), (k, n)
        assert math.isclose(hi_, again.high, abs_tol=1e-9), (k, n)
        yield "exact", k, n, repr(float(again.low)), repr(float(again.high))
        yield "wilson", k, n, repr(float(Z95)), repr(max(0.0, float(lo))), repr(min(1.0, float(hi)))
    for p in [1e-300, 1e-16, 1e-9, 1e-4, 0.001, 0.02425, 0.05, 0.0749, 0.0751, 0.1, 0.25, 0.5, 0.6,
              0.75, 0.9, 0.925, 0.95, 0.975, 0.99, 0.999, 0.9999999, 1 - 2 ** -53]:
        yield "normal", repr(p), repr(float(norm.ppf(p)))
    for s in [100, 250, 300, 500, 700, 1500]:
        for lo, hi in [(0, 4000), (1000, 4000), (500, 20000)]:
            for length in [lo + 1, (lo + hi) // 2, hi, hi + 1500, 3 * hi]:
                yield "tail", s, lo, hi, length, repr(float(spread(s, lo, hi).sf(length)))
            for p in [0.001, 0.05, 0.5, 0.95, 0.999]:
                yield "length", s, lo, hi, p, repr(float(spread(s, lo, hi).ppf(p)))
    for p, n in [(0.01, 40000), (0.5, 100), (0.0, 7), (0.03343, 100000)]:
        yield "sd", p, n, repr(math.sqrt(p * (1 - p) / n))
    for rate in [700, 750, 800, 850, 900]:
        for n in [1, 2, 3, 5, 10, 20, 100]:
            yield "unit", n, rate, repr(n ** math.log2(rate / 1000))
    # Stated medians: 4 s at 0.3, 0.5 and 0.7 against a window of 10 s, 6 s at 0.5 against 20 s.
    for s, median, window in [(300, 4000, 10000), (500, 4000, 10000), (700, 4000, 10000),
                              (500, 6000, 20000)]:
        yield "median", s, median, window, repr(float(lognorm.sf(window, s / 1000, scale=median)))


def main():
    text = "".join("\t".join(str(cell) for cell in row) + "\n" for row in rows())
    if "--write" in sys.argv[1:]:
        with open(os.path.join(os.path.dirname(__file__), "golden.tsv"), "w") as file:
            file.write(text)
    else:
        sys.stdout.write(text)


main()
