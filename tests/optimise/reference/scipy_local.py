#!/usr/bin/env python3
"""Writes scipy_local.hpp: minima by SciPy that the local methods must reproduce.

Without arguments the header beside this script is written; with --check it is compared with values
computed afresh, number by number.
"""
import pathlib
import sys

import numpy as np
from scipy.optimize import least_squares, minimize

sys.path.insert(0, str(pathlib.Path(__file__).parents[2] / "support"))
from reference_header import run  # noqa: E402

HEADER = pathlib.Path(__file__).with_name("scipy_local.hpp")
# Of minimisers that rounding of the value leaves open to about 1e-8 of their size.
TOLERANCE = 1e-6

# Misra1a of the NIST StRD collection (from memory; certified: 238.94212918, 5.5015643181e-4, residual
# sum of squares 0.12455138894).
X = np.array([77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0])
Y = np.array([10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78])


def misra1a(b):
    return b[0] * (1 - np.exp(-b[1] * 1e-4 * X)) - Y


def misra1a_jacobian(b):
    decay = np.exp(-b[1] * 1e-4 * X)
    return np.stack([1 - decay, b[0] * 1e-4 * X * decay], axis=1)


def regression_rows():
    """Least upper bound of b1, and the minimiser (b2 in units of 1e-4), without and with it active."""
    rows = []
    for highest in (1000.0, 200.0):
        fit = least_squares(misra1a, [min(highest, 190.0), 6.0], misra1a_jacobian, ([0, 0], [highest, 100]),
                            ftol=1e-15, xtol=1e-15, gtol=1e-15, method="trf", max_nfev=1000)
        # trf stays off the bound: the rest is a fit of one parameter there.
        if fit.active_mask[0] != 0 or highest - fit.x[0] < 1e-3:
            rest = least_squares(lambda b: misra1a([highest, b[0]]), [fit.x[1]], ftol=1e-15,
                                 xtol=1e-15, gtol=1e-15, method="lm")
            rows.append((highest, highest, rest.x[0], 2 * rest.cost))
        else:
            rows.append((highest, fit.x[0], fit.x[1], 2 * fit.cost))
    return rows


def rosenbrock(x):
    a = x[1:] - x[:-1] ** 2
    b = 1 - x[:-1]
    gradient = np.zeros_like(x)
    gradient[:-1] += -400 * a * x[:-1] - 2 * b
    gradient[1:] += 200 * a
    return np.sum(100 * a ** 2 + b ** 2), gradient


def rosenbrock_rows():
    """Rosenbrock's valley of 4 dimensions between bounds that cut its minimiser off."""
    rows = []
    for lower, upper in ((-5.0, 0.8), (1.2, 10.0), (-1.0, 0.5)):
        start = np.full(4, np.clip(0.9, lower, upper))
        found = minimize(rosenbrock, start, jac=True, bounds=[(lower, upper)] * 4, method="L-BFGS-B",
                         options=dict(ftol=1e-16, gtol=1e-11, maxiter=10000, maxfun=100000))
        rows.append((lower, upper, found.fun, *found.x))
    return rows


TABLES = [
    ("RegressionRow", "misra1a_fits", "highest_first, first, second_e4, value", regression_rows),
    ("ValleyRow", "bounded_valleys", "lower, upper, value, a, b, c, d", rosenbrock_rows),
]


if __name__ == "__main__":
    run(HEADER, "Minima found by SciPy; written by scipy_local.py, not by hand.", TABLES, TOLERANCE)
