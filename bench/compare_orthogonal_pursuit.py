#!/usr/bin/env python3
"""Times decompose_batch beside scikit-learn's orthogonal_mp_gram: same matrix, same signals, one thread each.

    python3 bench/compare_orthogonal_pursuit.py build/examples/examples/decompose_batch [more builds of it ...]

Random dictionaries of 42 x 1,050 and 256 x 4,096 (samples x atoms), 1,000 signals, 10 atoms; the Gram matrix is
given to both. Three rounds by turns, the median of each. Prints times a signal, the ratio, and whether both chose the
same atoms. Needs NumPy and scikit-learn.
"""
import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import re
import subprocess
import sys
import tempfile
import time

import numpy as np
from sklearn.linear_model import orthogonal_mp_gram

ATOMS = 10


def reference(columns, signals):
    gram = columns.T @ columns
    products = columns.T @ signals
    norms = np.sum(signals**2, axis=0)
    start = time.perf_counter()
    out = orthogonal_mp_gram(gram, products, n_nonzero_coefs=ATOMS, norms_squared=norms, copy_Gram=False)
    return out, (time.perf_counter() - start) / signals.shape[1]


def ours(program, folder):
    run = subprocess.run(
        [program, f"{folder}/d.npy", f"{folder}/s.npy", "--atoms", str(ATOMS), "--out", f"{folder}/out.csv"],
        check=True,
        capture_output=True,
        text=True,
    )
    return float(re.search(r"then ([\d.]+) us", run.stdout).group(1)) * 1e-6


for rows, count, targets in ((42, 1050, 1000), (256, 4096, 1000)):
    random = np.random.default_rng(12)
    columns = random.standard_normal((rows, count)).astype(np.float32)
    signals = random.standard_normal((rows, targets)).astype(np.float32)
    with tempfile.TemporaryDirectory() as folder:
        np.save(f"{folder}/d.npy", np.ascontiguousarray(columns.T))
        np.save(f"{folder}/s.npy", np.ascontiguousarray(signals.T))
        wide = columns.astype(float)
        wide /= np.linalg.norm(wide, axis=0)
        some = signals.astype(float)[:, : targets if rows < 100 else 100]  # the slow one: 100 are enough to time
        theirs, times = [], {program: [] for program in sys.argv[1:]}
        for _ in range(3):
            found, seconds = reference(wide, some)
            theirs.append(seconds)
            for program in sys.argv[1:]:
                times[program].append(ours(program, folder))
        table = np.loadtxt(f"{folder}/out.csv", delimiter=",", skiprows=1)
        chosen = np.zeros((count, targets))
        chosen[table[:, 2].astype(int), table[:, 0].astype(int)] = table[:, 3]
        same = np.mean(np.all((found != 0) == (chosen[:, : some.shape[1]] != 0), axis=0))
        error = np.max(np.abs(found - chosen[:, : some.shape[1]]))
        for program in sys.argv[1:]:
            mine = np.median(times[program])
            print(
                f"{rows} x {count}: scikit-learn {1e6 * np.median(theirs):.0f} us, {program} {1e6 * mine:.1f} us a "
                f"signal, ratio {np.median(theirs) / mine:.0f}; same atoms in {100 * same:.1f} % of the signals, "
                f"coefficients within {error:.1e}"
            )
