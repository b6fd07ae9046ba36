#!/usr/bin/env python3
"""Writes scipy_pulses.hpp: pulses of SciPy that the Gabor and chirped atoms must reproduce.

Without arguments the header beside this script is written; with --check it is compared with values
computed afresh, number by number (another SciPy or another libm may differ in the last digits).
"""
import pathlib
import sys

import numpy as np
from scipy.signal import chirp, gausspulse, hilbert

sys.path.insert(0, str(pathlib.Path(__file__).parents[2] / "support"))
from reference_header import run  # noqa: E402

HEADER = pathlib.Path(__file__).with_name("scipy_pulses.hpp")
# Values are of order 1 (or of order 1 in microseconds); SciPy does not take whole turns off the
# phase, which costs up to 2e-15 at 8 turns.
TOLERANCE = 2e-14

PULSES = [(4e6, 1e6), (4e6, 2e6), (5e6, 3e6), (7.5e6, 4.5e6), (10e6, 6e6), (0.5e6, 0.75e6)]
CHIRPS = [(4e6, 1e6, 0.5e12), (4e6, 1e6, -1.5e12), (5e6, 3e6, 2e12)]


def gausspulse_rows():
    rows = []
    for frequency, bandwidth in PULSES:
        for time in np.linspace(-2.0, 2.0, 23) / bandwidth * 1.25:
            in_phase, quadrature, envelope = gausspulse(
                time, fc=frequency, bw=bandwidth / frequency, bwr=-6, retquad=True, retenv=True)
            rows.append((frequency, bandwidth, 0.0, time, in_phase, quadrature, envelope))
    for frequency, bandwidth, rate in CHIRPS:
        for time in np.linspace(-2.0, 2.0, 23) / bandwidth * 1.25:
            _, envelope = gausspulse(time, fc=frequency, bw=bandwidth / frequency, bwr=-6, retenv=True)
            arguments = dict(f0=frequency, t1=1e-6, f1=frequency + rate * 1e-6, method="linear")
            in_phase = envelope * chirp(time, **arguments)
            quadrature = envelope * chirp(time, phi=-90, **arguments)
            rows.append((frequency, bandwidth, rate, time, in_phase, quadrature, envelope))
    return rows


def cutoff_rows():
    return [(frequency, bandwidth, level,
             1e6 * gausspulse("cutoff", fc=frequency, bw=bandwidth / frequency, bwr=-6, tpr=-level))
            for frequency, bandwidth in PULSES for level in (20.0, 40.0, 60.0)]


def hilbert_rows():
    """The analytic signal of a real sampled echo, by FFT: 4 MHz, 1 MHz, 1024 samples at 125 MHz."""
    arrival, phase = 4.0437e-6, 0.7
    time = np.arange(1024) / 125e6
    envelope = gausspulse(time - arrival, fc=4e6, bw=0.25, bwr=-6, retenv=True)[1]
    analytic = hilbert(envelope * np.cos(2 * np.pi * 4e6 * (time - arrival) + phase))
    return [(float(n), analytic[n].real, analytic[n].imag) for n in range(380, 640, 13)]


TABLES = [
    ("PulseRow", "pulses", "frequency, bandwidth, chirp_rate, time, in_phase, quadrature, envelope",
     gausspulse_rows),
    ("CutoffRow", "cutoffs", "frequency, bandwidth, level, cutoff_microseconds", cutoff_rows),
    ("AnalyticRow", "analytic_samples", "sample, real, imaginary", hilbert_rows),
]


if __name__ == "__main__":
    run(HEADER, "Pulses computed by SciPy; written by scipy_pulses.py, not by hand.", TABLES, TOLERANCE)
