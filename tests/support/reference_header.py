"""Headers of reference values: written from tables of rows, or compared with them number by number.

A script sets its header, its tables (struct, array, columns, function that gives the rows) and its tolerance, and calls
run(). Another SciPy or another libm may differ in the last digits, so numbers are compared, not text.
"""
import re
import sys

import numpy as np


def text(title, tables):
    lines = [f"// {title}", "// clang-format off", "#pragma once", "", "namespace echosieve::test {", ""]
    for kind, name, columns, rows in tables:
        lines += [f"struct {kind} {{", f"    double {columns};", "};",
                  f"inline constexpr {kind} {name}[] = {{"]
        lines += ["    {" + ", ".join(repr(float(x)) for x in row) + "}," for row in rows()]
        lines += ["};", ""]
    return "\n".join(lines + ["}  // namespace echosieve::test", ""])


def numbers(source):
    body = re.sub(r"//.*", "", source)
    return np.array([float(x) for x in re.findall(r"[-+]?\d+\.\d*(?:e[-+]?\d+)?|[-+]?\d+e[-+]?\d+", body)])


def run(header, title, tables, tolerance):
    """Writes the header, or compares it if the script was called with --check."""
    made = text(title, tables)
    if sys.argv[1:] == ["--check"]:
        kept, fresh = numbers(header.read_text()), numbers(made)
        if kept.shape != fresh.shape:
            sys.exit(f"{header.name} holds {kept.size} numbers, not {fresh.size}: run {sys.argv[0]}")
        worst = np.max(np.abs(kept - fresh) / np.maximum(1, np.abs(fresh)))
        if not worst <= tolerance:
            sys.exit(f"{header.name} differs from SciPy by {worst:.2g}, tolerance {tolerance:.2g}")
        print(f"{fresh.size} numbers agree, largest difference {worst:.2g}")
    elif sys.argv[1:]:
        sys.exit(f"usage: {sys.argv[0]} [--check]")
    else:
        header.write_text(made)
