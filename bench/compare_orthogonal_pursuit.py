#!/usr/bin/env python3
"""Times decompose_batch beside scikit-learn's orthogonal_mp_gram: same matrix, same signals, one thread each.

    python3 bench/compare_orthogonal_pursuit.py build/examples/examples/decompose_batch [more builds of it ...]

Random dictionaries of 42 x 1,050 and 256 x 4,096 (samples x atoms), 1,000 signals, 10 atoms; the Gram matrix is
given to both. Three rounds by turns, the median of each. Prints, for each program, times a signal, the ratio, and
whether it chose the same atoms as scikit-learn. Needs NumPy and scikit-learn.
"""
import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"  # before NumPy is loaded, which reads them once

import argparse
import re
import subprocess
import tempfile
import time
from pathlib import Path

import numpy as np
from sklearn.linear_model import orthogonal_mp_gram

ATOMS = 10
ROUNDS = 3


def time_reference(columns, signals):
    """(coefficients, seconds a signal)"""
    gram = columns.T @ columns
    products = columns.T @ signals
    norms = np.sum(signals**2, axis=0)
    start = time.perf_counter()
    out = orthogonal_mp_gram(gram, products, n_nonzero_coefs=ATOMS, norms_squared=norms, copy_Gram=False)
    return out, (time.perf_counter() - start) / signals.shape[1]


def time_program(program, folder, shape):
    """(coefficients of the given shape, seconds a signal)"""
    out = folder / "out.csv"
    out.unlink(missing_ok=True)  # another program's would do for its own
    run = subprocess.run([program, folder / "d.npy", folder / "s.npy", "--atoms", str(ATOMS), "--out", out],
                         check=True, capture_output=True, text=True)
    found = re.search(r"then ([\d.]+) us", run.stdout)
    if not found:
        raise SystemExit(f"{program} printed no time: {run.stdout}")
    table = np.loadtxt(out, delimiter=",", skiprows=1)
    chosen = np.zeros(shape)
    chosen[table[:, 2].astype(int), table[:, 0].astype(int)] = table[:, 3]
    return chosen, float(found.group(1)) * 1e-6


def compare(programs, rows, count, signal_count, timed):
    """Of the signals scikit-learn gets the first `timed`: as many as are enough to time it."""
    random = np.random.default_rng(12)
    columns = random.standard_normal((rows, count)).astype(np.float32)
    signals = random.standard_normal((rows, signal_count)).astype(np.float32)
    unit = columns.astype(float)
    unit /= np.linalg.norm(unit, axis=0)
    theirs, times, chosen = [], {program: [] for program in programs}, {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        np.save(folder / "d.npy", np.ascontiguousarray(columns.T))
        np.save(folder / "s.npy", np.ascontiguousarray(signals.T))
        for _ in range(ROUNDS):
            reference, seconds = time_reference(unit, signals.astype(float)[:, :timed])
            theirs.append(seconds)
            for program in programs:
                chosen[program], seconds = time_program(program, folder, (count, signal_count))
                times[program].append(seconds)
    for program in programs:
        own = chosen[program][:, :timed]
        same = np.mean(np.all((reference != 0) == (own != 0), axis=0))
        ours = np.median(times[program])
        print(f"{rows} x {count}: scikit-learn {1e6 * np.median(theirs):.0f} us, {program} {1e6 * ours:.1f} us a "
              f"signal, ratio {np.median(theirs) / ours:.0f}; same atoms in {100 * same:.1f} % of the signals, "
              f"coefficients within {np.max(np.abs(reference - own)):.1e}", flush=True)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("programs", nargs="+", help="decompose_batch, of one build or more")
    programs = parser.parse_args().programs
    compare(programs, 42, 1050, 1000, timed=1000)
    compare(programs, 256, 4096, 1000, timed=100)


if __name__ == "__main__":
    main()
