#!/usr/bin/env python3
"""Makes golden.tsv, the reserves that src/power must give, from the published tables and formulas
written out a second time. No dependency. Prints the table; with --write, replaces golden.tsv.

  python3 tests/power/regenerate.py --write

Columns: kind; 20-hour capacity in mAh (0: not known); exponent in thousandths (0: not known);
reserve minutes (0: not known); rest voltage in mV; age in months (-1: not known); temperature in
tenths of a degree; load in mA (0: not known); measured drop in mV (-1: not measured); inner
resistance in micro-ohm; floor in mV; meter error in mV; then the least and the most reserve in ms.
"""
import math
import os
import sys

# Rest voltage (V) and charge. Sources as in tests/it/power.rs.
FLOODED = [(11.89, 0.0), (12.06, 0.25), (12.24, 0.5), (12.45, 0.75), (12.65, 1.0)]
THUMB = [(11.6, 0.0), (12.0, 0.25), (12.2, 0.5), (12.4, 0.75), (12.6, 1.0)]
AGM = [(10.5, 0.0), (11.75, 0.25), (12.2, 0.5), (12.55, 0.75), (12.8, 1.0)]
TABLES = {
    "flooded": [(FLOODED, 12.65), (THUMB, 12.65)],
    "agm": [(AGM, 12.8)],
    "gel": [(AGM, 12.8), (FLOODED, 12.65)],
}
EXPONENTS = {"flooded": (1.10, 1.25), "agm": (1.10, 1.11), "gel": (1.10, 1.11)}
SURFACE = {"flooded": 12.8, "agm": 12.95, "gel": 12.95}
COLD = [(-28.8, 0.2), (-17.8, 0.4), (0.0, 0.65), (26.7, 1.0)]


def line(rows, x):
    if x <= rows[0][0]:
        return rows[0][1]
    if x >= rows[-1][0]:
        return rows[-1][1]
    for (x0, y0), (x1, y1) in zip(rows, rows[1:]):
        if x <= x1:
            return y0 + (x - x0) / (x1 - x0) * (y1 - y0)


def exponent(reserve, capacity):
    return math.log(20 / (reserve / 60)) / math.log(25 / (capacity / 20))


def hours(load, capacity, k):
    if load * 20 < capacity:
        return capacity / load
    return 20 * (capacity / (load * 20)) ** k


def warmth(celsius):
    if celsius < -28.8:
        return 0.0, 0.0
    least = line(COLD, celsius)
    most = least if celsius < 24 else max(least, min(1.0, 1 - 0.009 * (27 - celsius)))
    return least, most


def ratings(kind, capacity, k, reserve):
    if capacity and k:
        return [(capacity, k)]
    if capacity and reserve:
        # Kept in thousandths.
        return [(capacity, round(exponent(reserve, capacity), 3))]
    if capacity:
        return [(capacity, k) for k in EXPONENTS[kind]]
    # Kept in whole mAh, rounded down.
    return [
        (math.floor(500 * (reserve / 1200) ** (1 / k) * 1000) / 1000, k) for k in EXPONENTS[kind]
    ]


def load_and_sag(load, drop, ohms, meter):
    if drop is None:
        return (load, load), (load * ohms, load * ohms)
    sag = (max(0.0, drop - meter), drop + meter)
    if load:
        return (load, load), sag
    least, most = (s / ohms for s in sag)
    # Kept in whole mA, rounded down; never below 1 A.
    cut = lambda i: max(1.0, math.floor(i * 1000 + 1e-6) / 1000)
    return (cut(least), cut(most)), sag


def reserve(kind, capacity, k, minutes, rest, age, celsius, load, drop, ohms, floor, meter):
    loads, sags = load_and_sag(load, drop, ohms, meter)
    wide = meter + (0.0 if 10 <= celsius <= 35 else 0.1)
    health = 1.0 if age is not None and age <= 48 else 0.7
    cold = warmth(celsius)
    least, most = math.inf, 0.0
    for table, full in TABLES[kind]:
        for c, e in ratings(kind, capacity, k, minutes):
            low = line(table, min(rest, full) - wide) if rest <= SURFACE[kind] else 0.0
            high = line(table, min(rest, full) + wide) if rest <= SURFACE[kind] else 1.0
            last = c * health * cold[0]
            at_least = hours(loads[1], last, e) if last > 0 else 0.0
            at_most = hours(loads[0], c * cold[1], e) if cold[1] > 0 else 0.0
            least = min(least, max(0.0, low - line(table, floor + sags[1])) * at_least)
            most = max(most, max(0.0, high - line(table, floor + sags[0])) * at_most)
    return round(least * 3_600_000), round(most * 3_600_000)


def rows():
    ratings_known = {
        "flooded": [(60_000, 1200, 0), (60_000, 0, 0), (0, 0, 100), (70_000, 0, 130), (225_000, 0, 447)],
        "agm": [(70_000, 1110, 0), (70_000, 0, 0), (0, 0, 120), (95_000, 0, 188)],
        "gel": [(60_000, 0, 0), (0, 0, 110)],
    }
    rests = {
        "flooded": [12_300, 12_550, 12_650, 12_790, 12_900],
        "agm": [12_300, 12_600, 12_800, 13_000],
        "gel": [12_500, 12_800],
    }
    # age, temperature, load, drop, resistance, floor, meter
    states = [
        (24, 200, 10_000, -1, 10_000, 12_000, 20),
        (24, 200, 10_000, -1, 6_000, 12_400, 20),
        (60, 200, 10_000, -1, 10_000, 12_000, 20),
        (-1, 255, 25_000, -1, 10_000, 12_000, 20),
        (24, 50, 8_000, -1, 9_000, 11_800, 20),
        (24, -100, 8_000, -1, 9_000, 11_800, 50),
        (24, -300, 8_000, -1, 9_000, 11_800, 20),
        (12, 380, 2_000, -1, 10_000, 12_000, 120),
        (12, 267, 15_000, 120, 10_000, 11_900, 20),
        (12, 150, 0, 80, 8_000, 12_000, 20),
        (12, 240, 0, 10, 10_000, 12_000, 30),
        (12, 200, 10_000, -1, 10_000, 13_000, 20),
    ]
    for kind, known in ratings_known.items():
        for rated in known:
            for rest in rests[kind]:
                for state in states:
                    yield (kind, *rated, rest, *state)


def table():
    yield "kind\tc20\tk\treserve\trest\tage\ttemperature\tload\tdrop\tresistance\tfloor\tmeter\tleast\tmost"
    for row in rows():
        kind, c20, k, minutes, rest, age, temperature, load, drop, ohms, floor, meter = row
        least, most = reserve(
            kind, c20 / 1000, k / 1000, minutes, rest / 1000, None if age < 0 else age,
            temperature / 10, load / 1000, None if drop < 0 else drop / 1000, ohms / 1e6,
            floor / 1000, meter / 1000,
        )
        yield "\t".join(map(str, (*row, least, most)))


text = "\n".join(table()) + "\n"
if "--write" in sys.argv[1:]:
    beside = os.path.join(os.path.dirname(os.path.abspath(__file__)), "golden.tsv")
    with open(beside, "w", encoding="ascii", newline="\n") as out:
        out.write(text)
else:
    sys.stdout.write(text)
