"""Counts a small house whose counts are known, and sees that a count past its limit is reported."""

import contextlib
import io
import pathlib
import sys
import tempfile
import unittest.mock

import house

TREE = {
    "include/echosieve/core/one.hpp": """#pragma once
#include "echosieve/core/detail/part.hpp"
namespace echosieve {
struct Shown { double member = 1; };
int called(int a, int b, int c, int d, int e);
template <class T>
T longer(T a) {
""" + "    ++a;\n" * 59 + """    return a;
}
}  // namespace echosieve
""",
    "include/echosieve/core/detail/part.hpp": "#pragma once\nnamespace echosieve {\nstruct Hidden {};\n}\n" + "\n" * 250,
    "include/echosieve/motion/artery_motion.hpp": "#pragma once\n#include \"echosieve/core/one.hpp\"\n",
    "include/echosieve/motion/track_artery.hpp": "#pragma once\n#include \"echosieve/motion/artery_motion.hpp\"\n",
    "src/motion/line/a.cpp": """#include "echosieve/core/one.hpp"
namespace echosieve {
constexpr double step = 0.35;  // 0.7
constexpr std::array shares{0.45, 0.65};
constexpr std::array<Stage, 2> stages{{{"wide", 0.3}, {"narrow", 0.1}}};
struct Options {
    double least = 4.5;
    int frames{30};
};
double six(const std::vector<std::pair<int, int>>& a, int b, int c, int d, int e, int f) {
    const double half = 0.25;
    return a * half + 3.7 * b + 0.5 * c;
}
double five(const std::pair<int, int>& a, int b, int c, int d, int e) {
    return g(1e-300) + 2 * a;
}
}  // namespace echosieve
""",
    "src/motion/wall/b.cpp": "constexpr double step = 0.35;\n",
}
EXPECTED = {
    "public headers": 3,
    "public names": 3,
    "headers over 250 lines": 1,
    "headers that a recording's motion brings (artery_motion.hpp)": 2,
    "headers that following it brings (track_artery.hpp)": 3,
    "steps between rooms": 1,
    "circles of modules": 0,
    "functions over 60 lines": 1,
    "functions of over 5 parameters": 1,
    "numbers without a name in the motion room": 2,
    "constants of the motion room that are named twice": 1,
}


def status(root, limits):
    """What the program ends with under these limits."""
    with unittest.mock.patch.object(house, "LIMITS", limits), \
            unittest.mock.patch.object(sys, "argv", ["house.py", "--root", str(root)]), \
            contextlib.redirect_stdout(io.StringIO()) as printed:
        return house.main(), printed.getvalue()


def main():
    failures = []
    with tempfile.TemporaryDirectory() as folder:
        root = pathlib.Path(folder)
        for name, text in TREE.items():
            (root / name).parent.mkdir(parents=True, exist_ok=True)
            (root / name).write_text(text, encoding="utf-8")
        for one in ("examples", "bench"):
            (root / one).mkdir()
        found = house.counts(root)
        for name, number in EXPECTED.items():
            if found[name][0] != number:
                failures.append(f"{name}: expected {number}, found {found[name]}")
        held = {name: (0, number) for name, (number, _) in found.items()}
        if status(root, held)[0] != 0:
            failures.append("counts at their limits are reported")
        for name in held:
            ended, printed = status(root, {**held, name: (0, held[name][1] - 1)})
            if ended != 1 or printed.count("GROWN") != 1:
                failures.append(f"{name}: one past its limit is not reported")
    for line in failures:
        print(line)
    print(f"{2 * len(EXPECTED) + 2} cases, {len(failures)} failures")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
