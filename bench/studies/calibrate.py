#!/usr/bin/env python3
"""Fits the weights and deviations of motion/wall_options.hpp to recordings with known truth.

    wall_study --first 31001 --recordings 100 --without-artery 60 --least-confidence 0 --details a.csv
    wall_study --first 31201 --recordings 40 --without-artery 0 --event-probability 0.3 --least-confidence 0 \
        --simulator section,volume --details b.csv
    python3 bench/studies/calibrate.py a.csv b.csv [--check c.csv ...]

A wall is right if at least 90 % of its valid frames lie within 20 um of the truth. Prints the weights of its signs
and the factors of its deviation, and how well both hold on each simulator when they are fitted to the others alone:
that is what a recording of a kind that nobody tuned to may expect. Needs NumPy and SciPy.
"""
import argparse
import csv

import numpy as np
from scipy.optimize import minimize

SIMULATORS = ("section", "volume", "layered")  # by the number in the files
WALLS = ("near", "far")
# A sign speaks one way: standing out, evidence, presence and tissue that is no line for a wall, all others against.
DIRECTION = (0, -1, -1, -1, 1, 1, 1, 1, -1, -1, -1)
LEAST = 1.0  # um: what goes with the least deviations


def walls_of(file, noise):
    """Every wall reported in the file: a dictionary of its columns, what it is of, and the pair's number."""
    walls = []
    for number, row in enumerate(csv.DictReader(open(file))):
        if row["found"] == "0":
            continue
        values = {name: float(value) for name, value in row.items()}
        for side in WALLS:
            wall = {name[len(side) + 1:]: value for name, value in values.items() if name.startswith(side + "_")}
            names = sorted((name for name in wall if name.startswith("sign_")), key=lambda name: int(name[5:]))
            wall["signs"] = [wall[name] for name in names]
            wall["simulator"] = int(values["simulator"])
            wall["artery"] = values["artery"] == 1
            wall["right"] = wall["artery"] and wall["within"] >= 0.9
            wall["pair"] = (file, number)
            wall["bound_um"] = wall["noise_um"] / noise
            wall["outwards"] = -1 if side == "near" else 1
            walls.append(wall)
    return walls


def right_ones(walls):
    return [wall for wall in walls if wall["right"]]


def column(walls, name):
    return np.array([wall[name] for wall in walls])


def fit_weights(walls):
    """Weights of the signs, with a prior that keeps them small: N(0, 1.5^2) for standardised signs."""
    signs, right = column(walls, "signs"), column(walls, "right")
    spread = signs.std(0)

    def cost(weights):
        z = signs @ weights
        prior = np.sum((weights[1:] * spread[1:]) ** 2) / (2 * 1.5**2)
        return np.sum(np.logaddexp(0, np.where(right, -z, z))) + prior

    bounds = [(0 if d > 0 else None, 0 if d < 0 else None) for d in DIRECTION]
    return minimize(cost, np.zeros(signs.shape[1]), method="L-BFGS-B", bounds=bounds).x


def parts_of(walls):
    """What the variance of gain and of the rest is made of [um^2], a column a part."""
    least = np.full(len(walls), LEAST)
    fast = column(walls, "fast_um")
    gain = np.stack([least, column(walls, "scatter_um"), fast], 1) ** 2
    rest = np.stack([least, column(walls, "bound_um"), fast], 1) ** 2
    return gain, rest


def fit_variances(errors, parts):
    """Factors >= 0 of the parts that make the errors likeliest: Student's t of 4 degrees, for some are far off."""
    freedom = 4

    def cost(logarithms):
        variance = parts @ np.exp(logarithms)
        return np.sum(np.log(variance) / 2 + (freedom + 1) / 2 * np.log1p(errors**2 / variance / freedom))

    usual = np.log(np.mean(np.minimum(errors**2, np.quantile(errors**2, 0.95))) / parts.mean(0) / parts.shape[1])
    starts = [usual, usual - 2] + [usual + 2 * (np.arange(parts.shape[1]) == k) for k in range(parts.shape[1])]
    options = {"maxiter": 6000, "xatol": 1e-4, "fatol": 1e-5}
    found = [minimize(cost, start, method="Nelder-Mead", options=options) for start in starts]
    return np.exp(min(found, key=lambda result: result.fun).x)


def stretch(ratio):
    """By how much deviations grow so that 95 % of the errors lie within 1.96 of them, as nearly as 68 % within 1."""
    tries = np.geomspace(0.5, 3, 200)
    miss = [2 * abs(np.mean(ratio < 1.96 * k) - 0.95) + abs(np.mean(ratio < k) - 0.683) for k in tries]
    return tries[int(np.argmin(miss))]


def fit_deviations(walls):
    """Factors of the gain's and the rest's parts, as standard deviations."""
    gain, rest = parts_of(walls)
    out = []
    for name, parts in (("gain_um", gain), ("rest_um", rest)):
        errors = column(walls, name)
        variances = fit_variances(errors, parts)
        out.append(np.sqrt(variances) * stretch(np.abs(errors) / np.sqrt(parts @ variances)))
    return out


def correlation(walls, factors):
    """Of both walls' errors of gain over their deviations, outwards positive, robustly: by their signs."""
    gain, _ = parts_of(walls)
    score = column(walls, "outwards") * column(walls, "gain_um") / np.sqrt(gain @ factors[0] ** 2)
    pairs = {}
    for wall, z in zip(walls, score):
        pairs.setdefault(wall["pair"], []).append(z)
    both = np.array([z for z in pairs.values() if len(z) == 2])
    return np.sin(np.pi / 2 * np.mean(np.sign(both[:, 0] * both[:, 1])))


def show_confidence(title, walls, weights):
    p = 1 / (1 + np.exp(-column(walls, "signs") @ weights))
    right, artery = column(walls, "right"), column(walls, "artery")
    print(f"{title}: {len(walls)} walls, {np.sum(~right)} of them wrong")
    for low, high in ((0, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 0.95), (0.95, 1.01)):
        inside = (p >= low) & (p < high)
        if inside.any():
            print(f"  confidence {low:.2f} to {min(high, 1):.2f}: {inside.sum():4d} walls, mean {p[inside].mean():.3f}, "
                  f"right {right[inside].mean():.3f}, without an artery {np.sum(~artery[inside])}")


def show_deviations(title, walls, factors):
    for name, parts, factor in zip(("gain", "rest"), parts_of(walls), factors):
        ratio = np.abs(column(walls, name + "_um")) / np.sqrt(parts @ factor**2)
        print(f"{title}, {name}: within 1 {np.mean(ratio < 1):.3f}, within 1.96 {np.mean(ratio < 1.96):.3f}")


def main():
    parser = argparse.ArgumentParser(description="Fits weights and deviations to what wall_study says in detail.")
    parser.add_argument("files", nargs="+", help="to fit to")
    parser.add_argument("--check", nargs="*", default=[], help="to hold the fits against; those fitted to without it")
    parser.add_argument("--noise", type=float, default=1.94, help="WallDeviationOptions::noise of the files")
    arguments = parser.parse_args()
    walls = [wall for file in arguments.files for wall in walls_of(file, arguments.noise)]
    checked = [wall for file in arguments.check or arguments.files for wall in walls_of(file, arguments.noise)]
    for k in sorted({wall["simulator"] for wall in walls}):
        others = [wall for wall in walls if wall["simulator"] != k]
        own = [wall for wall in checked if wall["simulator"] == k]
        if others:
            show_confidence(f"{SIMULATORS[k]}, fitted to the others", own, fit_weights(others))
            show_deviations(f"{SIMULATORS[k]}, fitted to the others", right_ones(own), fit_deviations(right_ones(others)))
    weights, factors = fit_weights(walls), fit_deviations(right_ones(walls))
    show_confidence("all", checked, weights)
    show_deviations("all", right_ones(checked), factors)
    print("weights:", ", ".join(f"{w:.3f}" for w in weights))
    print("gain least [um], scatter, own:", ", ".join(f"{k:.3f}" for k in factors[0]))
    print("model least [um], noise, model own:", ", ".join(f"{k:.3f}" for k in factors[1]))
    print(f"gain correlation: {correlation(right_ones(walls), factors):.2f}")


main()
