#!/usr/bin/env python3
"""Writes scipy_filters.hpp: low-pass taps, windows and a baseband line as SciPy makes them.

Without arguments the header beside this script is written; with --check it is compared with values
computed afresh, number by number (another SciPy or another libm may differ in the last digits).
The baseband is made the long way round: the whole line mixed down at its full rate, then filtered,
then decimated, in double.
"""
import pathlib
import sys

import numpy as np
from scipy.signal import firwin
from scipy.signal.windows import tukey

sys.path.insert(0, str(pathlib.Path(__file__).parents[2] / "support"))
from reference_header import run  # noqa: E402

HEADER = pathlib.Path(__file__).with_name("scipy_filters.hpp")
TOLERANCE = 1e-13  # values are of order 1 at most

FILTERS = [(501, 1.1e6, 125e6), (167, 3.3e6, 125e6), (1, 1e6, 50e6), (3, 5e6, 50e6), (41, 24e6, 50e6)]
WINDOWS = [(11, 0.0), (11, 0.25), (11, 0.6), (12, 1.0)]

# A line of pseudo-random numbers that C++ makes anew: x_n = frac(n^2 phi) - 1/2, exact enough in double.
RATE, START, CENTRE, BANDWIDTH, SAMPLES = 125e6, 9.1e-6, 5e6, 3e6, 700
DECIMATION = 11


def tap_rows():
    return [(length, cutoff, rate, k, tap)
            for length, cutoff, rate in FILTERS
            for k, tap in enumerate(firwin(length, cutoff, fs=rate))
            if k % max(1, length // 10) == 0 or k == length // 2]


def window_rows():
    return [(count, taper, n, weight)
            for count, taper in WINDOWS for n, weight in enumerate(tukey(count, taper))]


def baseband_rows():
    n = np.arange(SAMPLES)
    x = np.mod(n * n * 0.6180339887498949, 1.0) - 0.5
    time = START + n / RATE
    taps = firwin(int(4 * RATE / BANDWIDTH) | 1, 1.1 * BANDWIDTH, fs=RATE)
    mixed = 2 * x * np.exp(-2j * np.pi * CENTRE * time)
    y = np.convolve(mixed, taps, mode="same")[::DECIMATION]
    return [(m, value.real, value.imag) for m, value in enumerate(y)]


TABLES = [
    ("TapRow", "taps", "length, cutoff, rate, index, tap", tap_rows),
    ("WindowRow", "windows", "count, taper, index, weight", window_rows),
    ("BasebandRow", "baseband_line", "index, real, imaginary", baseband_rows),
]


if __name__ == "__main__":
    run(HEADER, "Filters, windows and a baseband line computed by SciPy; written by scipy_filters.py, not by hand.", TABLES, TOLERANCE)
