#!/usr/bin/env python3
"""Writes scipy_joint_fit.hpp: echoes fitted together by SciPy's least_squares.

Without arguments the header beside this script is written; with --check it is compared with values
computed afresh, number by number. SciPy searches all parameters at once (dogleg in a rectangle, with
amplitudes and all), where the library projects the amplitudes out: the two share no method.

Times are in microseconds and frequencies in MHz. Noise comes from a generator written out here, so
that the samples don't depend on NumPy's.
"""
import pathlib
import sys

import numpy as np
from scipy.optimize import least_squares

sys.path.insert(0, str(pathlib.Path(__file__).parents[2] / "support"))
from reference_header import run  # noqa: E402

HEADER = pathlib.Path(__file__).with_name("scipy_joint_fit.hpp")
# Gauss-Newton ends within some 1e-10 of the minimum: the residual's rounding over its slope.
TOLERANCE = 1e-8

START, RATE = 20.0, 40.0
# name, complex samples at 5 MHz mixing, truths (arrival, f, B, gamma, re, im), noise, half widths
CASES = [
    ("apart", False, [(21.7, 4.1, 1.1, 0.0, 1.0, 0.4), (23.6, 3.9, 0.95, 0.0, -0.3, 0.8)],
     0.05, (0.4, 0.5, 0.4, 0.0)),
    ("overlapping", False, [(21.5, 4.05, 1.2, 0.0, 0.9, 0.1), (22.4, 4.0, 1.0, 0.0, 0.2, -0.7),
                            (23.6, 3.9, 1.1, 0.0, 0.6, 0.5)], 0.02, (0.3, 0.4, 0.4, 0.0)),
    ("bounded", False, [(21.8, 4.3, 1.1, 0.0, 1.0, 0.0), (22.9, 4.0, 1.0, 0.0, 0.5, 0.5)],
     0.03, (0.3, 0.2, 0.4, 0.0)),
    ("chirped", True, [(21.9, 4.6, 1.2, 0.4, 0.7, -0.6), (23.1, 5.2, 1.1, -0.3, 0.4, 0.9)],
     0.03, (0.3, 0.8, 0.5, 1.0)),
]
MIXING = 5.0
MIDDLE = (4.0, 1.0)  # starts of frequency and bandwidth; of the chirped case 5.0 and 1.0
SAMPLES = 200


def noise(count, seed):
    """Sums of twelve uniform numbers: nearly Gaussian, of variance 1."""
    state, out = seed, []
    for _ in range(count):
        total = -6.0
        for _ in range(12):
            state = (state * 6364136223846793005 + 1442695040888963407) % 2**64
            total += (state >> 11) / 2**53
        out.append(total)
    return np.array(out)


def times():
    return START + np.arange(SAMPLES) / RATE


def atom(parameters, is_complex):
    arrival, frequency, bandwidth, chirp = parameters[:4]
    u = times() - arrival
    decay = (np.pi * bandwidth) ** 2 / (4 * 0.3 * np.log(10))
    g = np.exp(-decay * u * u + 2j * np.pi * (frequency + chirp * u / 2) * u)
    if is_complex:
        g = g * np.exp(-2j * np.pi * MIXING * times())
    return u, decay, g


def stacked(values, is_complex):
    return np.concatenate([values.real, values.imag]) if is_complex else values.real


def model(x, is_complex):
    total = 0
    for echo in x.reshape(-1, 6):
        total = total + (echo[4] + 1j * echo[5]) * atom(echo, is_complex)[2]
    return stacked(total, is_complex)


def jacobian(x, is_complex):
    columns = []
    for echo in x.reshape(-1, 6):
        u, decay, g = atom(echo, is_complex)
        ag = (echo[4] + 1j * echo[5]) * g
        slope = 2 * decay * u - 2j * np.pi * (echo[1] + echo[3] * u)
        columns += [slope * ag, 2j * np.pi * u * ag, -2 * decay / echo[2] * u * u * ag,
                    1j * np.pi * u * u * ag, g, 1j * g]
    return np.array([stacked(c, is_complex) for c in columns]).T


def solve(case, number):
    name, is_complex, truths, deviation, half = case
    truth = np.array(truths).ravel()
    rows = SAMPLES * (2 if is_complex else 1)
    data = np.round(model(truth, is_complex) + deviation * noise(rows, number + 1), 6)
    middle = truth.reshape(-1, 6).copy()
    middle[:, 0] = np.round(middle[:, 0] + 0.06 * np.cos(np.arange(len(truths))), 3)
    middle[:, 1] = 5.0 if is_complex else MIDDLE[0]
    middle[:, 2] = MIDDLE[1]
    middle[:, 3] = 0.0
    # The amplitudes start at their best, as the library's do.
    columns = []
    for echo in middle:
        g = atom(echo, is_complex)[2]
        columns += [stacked(g, is_complex), stacked(1j * g, is_complex)]
    best = np.linalg.lstsq(np.array(columns).T, data, rcond=None)[0]
    middle[:, 4:] = best.reshape(-1, 2)
    reach = np.tile(list(half) + [np.inf, np.inf], (len(truths), 1))
    free = (reach > 0).ravel()
    lower, upper, whole = (middle - reach).ravel(), (middle + reach).ravel(), middle.ravel().copy()

    def put(x):
        whole[free] = x
        return whole

    fit = least_squares(lambda x: model(put(x), is_complex) - data, middle.ravel()[free],
                        jac=lambda x: jacobian(put(x), is_complex)[:, free],
                        bounds=(lower[free], upper[free]), method="dogbox", xtol=1e-15, ftol=1e-15,
                        gtol=1e-15, max_nfev=2000)
    if not fit.success:
        raise SystemExit(f"{name}: {fit.message}")
    # The cost is flat to rounding within some 1e-8 of the minimum, and where in there the search ends depends on the
    # linear algebra that NumPy was built with: plain Gauss-Newton steps of what no bound holds go to its middle.
    x = fit.x.copy()
    inside = (x > lower[free]) & (x < upper[free])
    for _ in range(4):
        residual = model(put(x), is_complex) - data
        slopes = jacobian(put(x), is_complex)[:, free][:, inside]
        x[inside] -= np.linalg.lstsq(slopes, residual, rcond=None)[0]
    residual = model(put(x), is_complex) - data
    return data, middle, reach, put(x).reshape(-1, 6).copy(), float(residual @ residual)


SOLVED = []


def solved():
    if not SOLVED:
        SOLVED.extend(solve(case, number) for number, case in enumerate(CASES))
    return SOLVED


def sample_rows():
    return [(float(n), *five) for n, fit in enumerate(solved()) for five in fit[0].reshape(-1, 5)]


def echo_rows():
    return [(float(n), *start[:4], *(0.0 if not r > 0 else r for r in reach[:4]), *found)
            for n, fit in enumerate(solved())
            for start, reach, found in zip(fit[1], fit[2], fit[3])]


def fit_rows():
    return [(float(case[1]), MIXING if case[1] else 0.0, fit[4]) for case, fit in zip(CASES, solved())]


TABLES = [
    ("FitRow", "joint_fits", "complex_samples, mixing, residual_energy", fit_rows),
    ("FitEchoRow", "joint_fit_echoes",
     "fit, start_arrival, start_frequency, start_bandwidth, start_chirp, reach_arrival, "
     "reach_frequency, reach_bandwidth, reach_chirp, arrival, frequency, bandwidth, chirp, re, im",
     echo_rows),
    ("FitSampleRow", "joint_fit_samples", "fit, a, b, c, d, e", sample_rows),
]


if __name__ == "__main__":
    run(HEADER, "Joint fits by SciPy; written by scipy_joint_fit.py, not by hand.", TABLES, TOLERANCE)
