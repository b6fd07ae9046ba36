#!/usr/bin/env python3
"""Fits the weights of motion/wall_options.hpp to recordings with known truth.

    wall_study --first 9001 --recordings 100 --without-artery 150 --least-confidence 0 --simulator section,volume \
        --details a.csv
    wall_study --first 9301 --recordings 40 --without-artery 20 --event-probability 0.3 --least-confidence 0 \
        --simulator section,volume --details b.csv
    python3 bench/studies/calibrate_confidence.py a.csv b.csv [--check c.csv ...]

A wall is right if at least 90 % of its valid frames lie within 20 um of the truth. Prints the weights, by what
the standard deviations must grow (the median ratio of error and deviation), and, for the files after --check, how
well they hold, each simulator by itself: fit to some, check with another. Needs NumPy and SciPy.
"""
import csv
import sys

import numpy as np
from scipy.optimize import minimize


SIMULATORS = ("section", "volume", "layered")  # by the number in the files


def walls_of(file):
    """Signs, whether right, standard deviation, rms error and simulator of every wall reported in the file."""
    signs, right, deviations, errors, simulators = [], [], [], [], []
    for row in csv.DictReader(open(file)):
        r = {name: float(value) for name, value in row.items()}
        if r["found"] == 0:
            continue
        for wall in ("near", "far"):
            names = [name for name in r if name.startswith(wall + "_sign_")]
            signs.append([r[name] for name in sorted(names)])
            right.append(r["artery"] == 1 and r[wall + "_within"] >= 0.9)
            deviations.append(r[wall + "_std_um"])
            errors.append(r[wall + "_um"])
            simulators.append(int(r["simulator"]))
    return np.array(signs), np.array(right), np.array(deviations), np.array(errors), np.array(simulators)


def joined(files):
    parts = [walls_of(file) for file in files]
    return [np.concatenate([part[k] for part in parts]) for k in range(5)]


def cost(weights, signs, right):
    """Negative log likelihood, with a prior that keeps the weights small: N(0, 1.5^2) for standardised signs."""
    z = signs @ weights
    spread = signs.std(0)
    return np.sum(np.logaddexp(0, np.where(right, -z, z))) + np.sum((weights[1:] * spread[1:]) ** 2) / (2 * 1.5**2)


arguments = sys.argv[1:]
split = arguments.index("--check") if "--check" in arguments else len(arguments)
signs, right, deviations, errors, _ = joined(arguments[:split])
# A sign speaks one way: standing out, evidence and tissue that is no line for a wall, all others against it.
direction = [0, -1, -1, -1, 1, 1, 1]
bounds = [(0 if d > 0 else None, 0 if d < 0 else None) for d in direction]
weights = minimize(cost, np.zeros(signs.shape[1]), args=(signs, right), method="L-BFGS-B", bounds=bounds).x
good = right & (deviations > 0)
scale = np.median(errors[good] / deviations[good])
print(f"{len(right)} walls, {np.sum(~right)} of them wrong")
print("weights:", ", ".join(f"{w:.3f}" for w in weights))
print(f"deviation_scale: {scale:.2f} times what it was when the files were made")


def show(title, signs, right):
    p = 1 / (1 + np.exp(-signs @ weights))
    print(title)
    for low, high in ((0, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 0.95), (0.95, 1.01)):
        inside = (p >= low) & (p < high)
        if inside.any():
            print(
                f"  {low:.2f} to {min(high, 1):.2f}: {inside.sum():4d} walls, "
                f"mean {p[inside].mean():.3f}, right {right[inside].mean():.3f}"
            )


show("fitted:", signs, right)
if split < len(arguments):
    signs, right, _, _, simulators = joined(arguments[split + 1 :])
    for number, name in enumerate(SIMULATORS):
        if (simulators == number).any():
            show(f"checked, {name}:", signs[simulators == number], right[simulators == number])
