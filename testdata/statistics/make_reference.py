#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Writes theil_sen.json: what SciPy (python3-scipy, Debian 12: 1.10.1) says.

    apt-get install python3-scipy
    /usr/bin/python3 testdata/statistics/make_reference.py
"""
import json
import pathlib

import numpy
import scipy
from scipy import stats

# R's data set "cars" (M. Ezekiel, Methods of Correlation Analysis, 1930):
# speed and stopping distance; many ties.
SPEED = [4, 4, 7, 7, 8, 9, 10, 10, 10, 11, 11, 12, 12, 12, 12, 13, 13, 13, 13,
         14, 14, 14, 14, 15, 15, 15, 16, 16, 17, 17, 17, 18, 18, 18, 18, 19, 19,
         19, 20, 20, 20, 20, 20, 22, 23, 24, 24, 24, 24, 25]
DISTANCE = [2, 10, 4, 22, 16, 10, 18, 26, 34, 17, 28, 14, 20, 24, 28, 26, 34,
            34, 46, 26, 36, 60, 80, 20, 26, 54, 32, 40, 32, 40, 50, 42, 56, 76,
            84, 36, 46, 68, 32, 48, 52, 56, 64, 66, 54, 70, 92, 93, 120, 85]

random = numpy.random.default_rng(20261125)
many_x = numpy.round(numpy.cumsum(random.uniform(20, 60, 80)), 3)
many_y = numpy.round(50 - 0.004 * many_x + random.standard_t(3, 80), 3)


def case(name, x, y, level):
    slope, intercept, low, high = stats.theilslopes(y, x, level)
    return {"name": name, "x": list(map(float, x)), "y": list(map(float, y)),
            "level": level, "slope": slope, "intercept": intercept,
            "low": low, "high": high}


def tail(n, swaps):
    """P(S >= s) for an order of n with so many neighbours' inversions."""
    y = list(range(n))
    done = 0
    for end in range(n - 1, 0, -1):  # bubble the first ones up
        for i in range(end):
            if done == swaps:
                break
            y[i], y[i + 1] = y[i + 1], y[i]
            done += 1
    result = stats.kendalltau(range(n), y, method="exact")
    s = round(result.correlation * n * (n - 1) / 2)
    # Two-sided and symmetric.
    return {"n": n, "s": s, "tail": result.pvalue / 2}


document = {
    "software": f"scipy {scipy.__version__}",
    "theilslopes": [case("cars", SPEED, DISTANCE, 0.95),
                    case("many", many_x, many_y, 0.95),
                    case("many at 80 %", many_x, many_y, 0.80)],
    "kendall_tails": [tail(n, swaps) for n in (4, 5, 7, 10, 15)
                      for swaps in range(0, n * (n - 1) // 4, max(1, n // 3))],
}
path = pathlib.Path(__file__).with_name("theil_sen.json")
path.write_text(json.dumps(document, indent=1) + "\n")
