#!/usr/bin/env python3
"""Makes golden.tsv: what src/faces/tones.rs must sound like, synthesised a second time with numpy and
measured with scipy. Needs numpy and scipy. Prints the table; with --write, replaces golden.tsv.

  python3 tests/tones/regenerate.py --write

Columns: signal; register; rate; samples; onsets of its pulses in ms (envelope of the analytic signal over
half of its height); their lengths in ms at that height; peak and root mean square in thousandths of full
scale; energy in 0-200, 200-500, 500-1000, 1000-2000, 2000-3000, 3000-5000 Hz and above, in thousandths;
the harmonics of the longest pulse in tenths of a decibel under the strongest ("-" for ticks, which are
too short).
"""
import os
import sys

import numpy as np
from scipy import signal

RATE = 22050
PULSES = {
    "prepare": [(0, 200), (320, 200)],
    "now": [(0, 70), (115, 70), (230, 70), (345, 70), (460, 70)],
    "now-before-words": [(0, 70), (115, 70), (230, 70)],
    "missed": [(0, 400), (480, 100)],
    "tick": [(0, 40)],
    "ten": [(0, 40), (120, 40), (400, 40), (520, 40)],
    "five": [(0, 40), (120, 40)],
}
REGISTERS = {"real": (520.0, 5), "practice": (260.0, 8)}
RISE = 8
PEAK = 10 ** (-3.01 / 20)
BANDS = [0, 200, 500, 1000, 2000, 3000, 5000, RATE / 2 + 1]


def wave(seconds, fundamental, many):
    k = np.arange(1, many + 1)[:, None]
    sines = np.sin(2 * np.pi * k * fundamental * seconds - np.pi * k * (k - 1) / many)
    return (sines / np.sqrt(k)).sum(axis=0)


def synthesise(pulses, fundamental, many):
    grid = np.arange(200_000) / 200_000 / fundamental
    scale = PEAK / np.abs(wave(grid, fundamental, many)).max()
    out = np.zeros(sum(pulses[-1]) * RATE // 1000)
    for at, lasts in pulses:
        first, n = at * RATE // 1000, lasts * RATE // 1000
        # A Tukey window is a pulse whose ends rise and fall by half a period of a cosine.
        shape = signal.windows.tukey(n, 2 * (RISE * RATE // 1000) / (n - 1))
        out[first:first + n] = scale * shape * wave(np.arange(n) / RATE, fundamental, many)
    return out


def rhythm(x):
    padded = np.concatenate([np.zeros(RATE // 10), x, np.zeros(RATE // 10)])
    box = np.ones(RATE * 4 // 1000) / (RATE * 4 // 1000)
    power = np.convolve(np.abs(signal.hilbert(padded)) ** 2, box, "same")
    # The height of the flat part, not of its ripple.
    high = np.sqrt(power) > 0.5 * np.sqrt(np.median(power[power > power.max() / 4]))
    edges = np.flatnonzero(np.diff(high.astype(int)))
    ups, downs = edges[::2], edges[1::2]
    ms = lambda n: round(n * 1000 / RATE)
    return [ms(up - RATE // 10) for up in ups], [ms(d - u) for u, d in zip(ups, downs)]


def bands(x):
    hz, power = signal.periodogram(x, RATE, nfft=16384, detrend=False)
    parts = [power[(hz >= lo) & (hz < hi)].sum() for lo, hi in zip(BANDS, BANDS[1:])]
    return [round(1000 * part / power.sum()) for part in parts]


def harmonics(x, pulses, fundamental, many):
    lasts = max(lasts for _, lasts in pulses)
    at = next(at for at, length in pulses if length == lasts)
    if lasts < 60:
        return "-"
    # Whole periods from the middle: 50 ms are 26 of one fundamental, 13 of the other.
    first = (at + (lasts - 50) // 2) * RATE // 1000
    inside = x[first:first + RATE * 50 // 1000] * signal.windows.hann(RATE * 50 // 1000)
    line = [abs(signal.czt(inside, 1, a=np.exp(2j * np.pi * k * fundamental / RATE))[0])
            for k in range(1, many + 1)]
    return ",".join(str(round(200 * np.log10(v / max(line)))) for v in line)


def rows():
    for name, pulses in PULSES.items():
        for register, (fundamental, many) in REGISTERS.items():
            x = synthesise(pulses, fundamental, many)
            onsets, lengths = rhythm(x)
            yield [name, register, RATE, len(x), ",".join(map(str, onsets)),
                   ",".join(map(str, lengths)), round(1000 * np.abs(x).max()),
                   round(1000 * np.sqrt(np.mean(x ** 2))), ",".join(map(str, bands(x))),
                   harmonics(x, pulses, fundamental, many)]


HEAD = "signal register rate samples onsets lengths peak rms bands harmonics".split()
table = "".join("\t".join(map(str, row)) + "\n" for row in [HEAD, *rows()])
if "--write" in sys.argv[1:]:
    with open(os.path.join(os.path.dirname(os.path.abspath(__file__)), "golden.tsv"), "w") as file:
        file.write(table)
else:
    sys.stdout.write(table)
