"""Writes orthogonal_mp.hpp: paths of scikit-learn's orthogonal_mp on fixed dictionaries.

    /usr/bin/python3 orthogonal_mp.py          write the header anew
    /usr/bin/python3 orthogonal_mp.py --check  compute again and compare with the header; status 1 if it differs

scikit-learn solves by a Cholesky factor of the Gram matrix in double precision; the library orthogonalises by
Gram and Schmidt, so the two share no code and no method. Its results hold to about 1e-14 times the condition of
the chosen columns, below 1e-11 here. Real data only: it knows no other. It stops early, with a RuntimeWarning,
where the next atom is orthogonal to the signal itself; warnings are errors here, so such data can't slip in.
"""

import argparse
import pathlib
import re
import sys
import warnings

import numpy
import sklearn
from sklearn.linear_model import orthogonal_mp

HEADER = pathlib.Path(__file__).with_name("orthogonal_mp.hpp")
TOLERANCE = 1e-10  # between two machines' linear algebra
CASES = [  # name, rows, columns, steps, seed
    ("tall", 20, 6, 6, 1),
    ("square", 8, 8, 8, 2),
    ("wide", 10, 25, 7, 3),
    ("coherent", 12, 18, 6, 4),
]


def numbers(count, seed):
    """Fixed numbers in (-1, 1) with six digits: a linear congruential generator (Knuth's MMIX constants)."""
    state = seed
    out = []
    for _ in range(count):
        state = (state * 6364136223846793005 + 1442695040888963407) % 2**64
        out.append(round((state >> 33) / 2**30 - 1, 6))
    return out


def case(name, rows, columns, steps, seed):
    values = numbers(rows * columns + rows, seed)
    dictionary = numpy.array(values[: rows * columns]).reshape(columns, rows).T
    if name == "coherent":  # neighbours resemble each other, as echoes of one sensor do
        dictionary = numpy.cumsum(dictionary, axis=1)
    dictionary = dictionary / numpy.linalg.norm(dictionary, axis=0)
    signal = numpy.array(values[rows * columns:])
    path = orthogonal_mp(dictionary, signal, n_nonzero_coefs=steps, return_path=True)
    if path.shape != (columns, steps):
        raise SystemExit(f"{name}: path of shape {path.shape}, not {(columns, steps)}")
    energy = [float(numpy.sum((signal - dictionary @ path[:, k]) ** 2)) for k in range(steps)]
    return {"dictionary": dictionary.T.ravel(), "signal": signal, "path": path.T.ravel(), "energy": energy}


def array(name, values):
    lines = []
    values = [repr(float(v)) for v in values]
    for k in range(0, len(values), 5):
        lines.append("    " + ", ".join(values[k:k + 5]) + ",")
    return f"inline constexpr double {name}[] = {{\n" + "\n".join(lines) + "\n};\n"


def make():
    parts = [
        f"// Written by orthogonal_mp.py with scikit-learn {sklearn.__version__}, numpy {numpy.__version__}: "
        "don't edit.\n"
        "// Dictionaries column by column; paths step by step, all coefficients of a step together.\n"
        "#pragma once\n\n#include <cstddef>\n#include <span>\n\n// clang-format off\n"
        "namespace echosieve::test::reference {\n\n"
        "struct OrthogonalMp {\n    const char* name;\n    std::size_t rows;\n    std::size_t columns;\n"
        "    std::size_t steps;\n    std::span<const double> dictionary;\n    std::span<const double> signal;\n"
        "    std::span<const double> path;\n    std::span<const double> energy;\n};\n\n"
    ]
    table = []
    for name, rows, columns, steps, seed in CASES:
        made = case(name, rows, columns, steps, seed)
        parts += [array(f"{name}_{key}", values) + "\n" for key, values in made.items()]
        arrays = ", ".join(f"{name}_{key}" for key in made)
        table.append(f'    {{"{name}", {rows}, {columns}, {steps}, {arrays}}},')
    parts.append("inline const OrthogonalMp orthogonal_mp[] = {\n" + "\n".join(table) + "\n};\n\n")
    parts.append("}  // namespace echosieve::test::reference\n")
    return "".join(parts)


def compare(old, new):
    """None if the two texts differ by rounding and versions alone, else what differs."""
    number = re.compile(r"-?\d+\.\d+(?:e[-+]?\d+)?|-?\d+e[-+]?\d+")
    strip = lambda text: text.split("\n", 1)[1]  # the first line names versions
    old, new = strip(old), strip(new)
    if number.sub("#", old) != number.sub("#", new):
        return "the text around the numbers"
    for a, b in zip(number.findall(old), number.findall(new)):
        if not abs(float(a) - float(b)) <= TOLERANCE:
            return f"{a} in the header, {b} now"
    return None


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true")
    options = parser.parse_args()
    warnings.simplefilter("error", RuntimeWarning)
    made = make()
    if not options.check:
        HEADER.write_text(made, encoding="utf-8")
        return 0
    difference = compare(HEADER.read_text(encoding="utf-8"), made)
    if difference:
        print(f"{HEADER.name} is not what scikit-learn {sklearn.__version__} gives: {difference}")
        return 1
    print(f"{HEADER.name} agrees with scikit-learn {sklearn.__version__}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
