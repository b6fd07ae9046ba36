"""Plants one violation at a time in a small tree: each must be reported, and the clean tree must not be."""

import pathlib
import sys
import tempfile

import guide
import kernel_symbols
import library_symbols
import structure

HEADER = "#pragma once\n"
# Declarations that need no mark, or have it.
BORDER = """
namespace echosieve {
struct Walls {
    double depth = 3e-3;
    std::vector<double> own{};  // void comment();
    [[nodiscard]] double size() const noexcept { return own.empty() ? f(0) : 1; }
    Walls() = default;
};
ECHOSIEVE_API void validate(const Walls& walls);
[[nodiscard]] ECHOSIEVE_API Walls find(
    const Walls& walls = {}, double x = f(3));
template <class T>
class Follower {
    static_assert(f(3));
public:
    explicit Follower(T x) : x_(x) { g(); }
    ECHOSIEVE_EXPORT void push(T x);
private:
    void make();
    T x_ = f(2);
};
inline double f(double x) { return x; }
}
"""
CLEAN = {
    "include/echosieve/core/error.hpp": HEADER,
    "include/echosieve/atoms/gabor.hpp": HEADER + '#include "echosieve/core/error.hpp"\n',
    "include/echosieve/optimise/swarm.hpp": HEADER + '#include "echosieve/core/error.hpp"\n',
    "include/echosieve/motion/walls.hpp": HEADER + '#include "echosieve/atoms/gabor.hpp"\n' + BORDER,
    "include/echosieve/pursuit/pursue.hpp": HEADER + "#include <Eigen/Core>\nvoid f();\n",
    "src/motion/line/line.hpp": HEADER + '#include "echosieve/motion/walls.hpp"\n#include <Eigen/Core>\nvoid f();\n',
    "src/motion/wall/finder.hpp": HEADER + '#include "motion/line/line.hpp"\n',
    "src/motion/line/line.cpp": '#include "motion/line/line.hpp"\n',
    "include/echosieve/io/npy.hpp": HEADER,
    "src/io/npy.cpp": '#include "echosieve/io/npy.hpp"\n',
    "tests/atoms/gabor_test.cpp": 'TEST_CASE("a, b") {}\n',
    "examples/one.cpp": '#include "echosieve/echosieve.hpp"\n',
}

# name -> (file, text, part of the report that must appear). The paths are put together here, so that this
# file itself stays clean.
SLASH = "/"
PLANTED = {
    "arrow against the design": ("include/echosieve/atoms/bad.hpp",
                                 HEADER + '#include "echosieve/motion/walls.hpp"\n',
                                 "the room 'atoms' may not include 'motion'"),
    "arrow with angle brackets": ("include/echosieve/core/bad.hpp",
                                  HEADER + "#  include <echosieve/atoms/gabor.hpp>\n",
                                  "the room 'core' may not include 'atoms'"),
    "arrow between neighbours": ("include/echosieve/optimise/bad.hpp",
                                 HEADER + '#include "echosieve/atoms/gabor.hpp"\n',
                                 "the room 'optimise' may not include 'atoms'"),
    "arrow in a compiled file": ("src/io/bad.cpp", '#include "echosieve/motion/walls.hpp"\n',
                                 "the room 'io' may not include 'motion'"),
    "unplanned room": ("include/echosieve/cellar/bad.hpp", HEADER, "the room 'cellar' is not in the plan"),
    "umbrella inside": ("src/io/bad.cpp", '#include "echosieve/echosieve.hpp"\n', "includes the umbrella"),
    "umbrella in a test": ("tests/io/bad.cpp", '#include "echosieve/echosieve.hpp"\n', "includes the umbrella"),
    "relative include": ("include/echosieve/atoms/bad.hpp", HEADER + '#include "gabor.hpp"\n',
                         "write the path from echosieve/"),
    "Eigen shown": ("include/echosieve/io/bad.hpp", HEADER + "#include <Eigen/Core>\n",
                    "public header shows Eigen (Eigen/Core)"),
    "Eigen shown by another": ("include/echosieve/motion/bad.hpp",
                               HEADER + '#include "echosieve/pursuit/pursue.hpp"\n',
                               "(include/echosieve/pursuit/pursue.hpp -> Eigen/Core)"),
    "unmarked function": ("include/echosieve/motion/bad.hpp", HEADER + "[[nodiscard]] int f(int x = {});\n",
                          "without ECHOSIEVE_API no library shows it: [[nodiscard]] int f(int x = {})"),
    "unmarked member": ("include/echosieve/motion/bad.hpp",
                        HEADER + "class A {\n  void h();\npublic:\n  int g() { return 1; }\n  A(int);\n};\n",
                        "without ECHOSIEVE_API no library shows it: A(int)"),
    "unmarked operator": ("include/echosieve/kernels/bad.hpp", HEADER + "struct A {\n  int operator()(int) const;\n};\n",
                          "shows it: int operator()(int) const"),
    "arrow inside": ("src/io/bad.cpp", '#include "motion/line/line.hpp"\n', "the room 'io' may not include 'motion/line'"),
    "arrow by a path beside the file": ("src/io/bad.cpp", '#include "../motion/line/line.hpp"\n',
                                        "the room 'io' may not include 'motion/line'"),
    "step up the stairs": ("src/motion/line/bad.cpp", '#include "motion/wall/finder.hpp"\n',
                           "the room 'motion/line' may not include 'motion/wall'"),
    "missing inside": ("src/motion/bad.cpp", '#include "motion/none.hpp"\n', "does not exist"),
    "inside from a header": ("include/echosieve/motion/bad.hpp", HEADER + '#include "motion/line/line.hpp"\n',
                             "write the path from echosieve/"),
    "circle inside": ("src/motion/line/line.hpp", HEADER + '#include "motion/line/line.hpp"\n', "includes itself"),
    "missing header": ("src/io/bad.cpp", '#include "echosieve/io/none.hpp"\n', "does not exist"),
    "circle": ("include/echosieve/core/error.hpp", HEADER + '#include "echosieve/core/error.hpp"\n',
               "includes itself"),
    "no include guard": ("include/echosieve/core/bad.hpp", "\n", "no #pragma once"),
    "too long": ("src/io/bad.cpp", "\n" * (structure.LINE_LIMIT + 1), "the limit is"),
    "rooted path": ("src/io/bad.cpp", f'auto x = "{SLASH}opt{SLASH}data{SLASH}x.npy";\n', "a place on one machine"),
    "scratch folder": ("tests/io/bad.sh", f"cd {SLASH}tmp\n", "a place on one machine"),
    "approximate check": ("tests/io/bad.cpp", "CHECK(1.0 == doctest::Approx(1.0));\n", "uses doctest's Approx"),
    "semicolon": ("tests/io/bad.cpp", 'TEST_CASE("a; b") {}\n', "';' in the test name"),
    "bracket": ("tests/io/bad.cpp", 'TEST_CASE_TEMPLATE("in [0, 1)", R, float) {}\n', "'[' in the test name"),
    "name on the next line": ("tests/io/bad.cpp", 'TEST_CASE_TEMPLATE(\n    "a; b", R, float) {}\n', "';' in the test name"),
    "too new": ("include/echosieve/core/bad.hpp", HEADER + "auto x = std::views::iota(1);\n", "not all compilers"),
}


GOOD_SYMBOLS = """
0000000000000000 r table
0000000000000000 t echosieve::kernels::(anonymous namespace)::helper(int)
0000000000000010 T echosieve::kernels::avx2::work(echosieve::kernels::Task const&)
"""
# name -> (line of nm, part of the report that must appear)
PLANTED_SYMBOLS = {
    "weak": ("0000000000000020 W std::max(double const&, double const&)", "merged by the linker: std::max"),
    "weak of the namespace": ("0000000000000020 W echosieve::kernels::avx2::helper()", "merged by the linker"),
    "weak object": ("0000000000000020 V table", "merged by the linker"),
    "unique": ("0000000000000020 u guard", "merged by the linker"),
    "another set's": ("0000000000000020 T echosieve::kernels::avx512::work(int)", "outside echosieve::kernels::avx2"),
    "untagged": ("0000000000000020 T echosieve::kernels::work(int)", "outside echosieve::kernels::avx2"),
    "variable": ("0000000000000020 B echosieve::kernels::avx2::state", "outside echosieve::kernels::avx2"),
}

TAG = "[abi:this_program_needs_an_echosieve_library_of_version_0_1_0]"
GOOD_LIBRARY = f"""
libechosieve_motion.a:
echosieve_motion.o:
0000000000000000 T echosieve::find_wall_gates{TAG}(echosieve::BasebandView const&)
0000000000000000 W echosieve::FrameFollower<short>::push(std::span<short const, 18446744073709551615ul>)
0000000000000000 W echosieve::FastPursuit<float>::FastPursuit(echosieve::GaborBox const&)
0000000000000000 W echosieve::PursuitResult<echosieve::Echo<double>, double> echosieve::pursue<double>(int)
0000000000000000 V vtable for echosieve::InvalidInput
"""
STD_SYMBOL = "0000000000000000 W void std::vector<double, std::allocator<double> >::resize(unsigned long)"
# name -> (line of nm, part of the report that must appear)
PLANTED_IN_LIBRARY = {
    "function": ("0000000000000000 T echosieve::line_history(int)", "shown to the linker: echosieve::line_history"),
    "inline function of Eigen's": ("0000000000000000 W Eigen::internal::aligned_free(void*)", "shown to the linker"),
    "template of std's": (STD_SYMBOL, "shown to the linker: void std::vector<double"),
    "template over a type of ours": ("0000000000000000 W std::vector<echosieve::Line>::~vector()", "shown to the linker"),
    "unique": ("0000000000000000 u guard variable for std::use()", "unique in the whole program"),
    "another member": ("0000000000000000 W echosieve::FastPursuit<float>::decompose()", "shown to the linker"),
}

# name -> (files, the modules that must be named)
CIRCLES = {
    "circle of headers": ({"include/echosieve/core/a.hpp": HEADER + '#include "echosieve/core/b.hpp"\n',
                           "include/echosieve/core/b.hpp": HEADER + '#include "echosieve/core/detail/c.hpp"\n',
                           "include/echosieve/core/detail/c.hpp": HEADER + '#include "echosieve/core/a.hpp"\n'},
                          "core/a, core/b, core/c: "),
    "circle by way of a source": ({"src/motion/wall/finder.cpp": '#include "motion/wall/fit.hpp"\n',
                                   "src/motion/wall/fit.hpp": HEADER + '#include "motion/wall/finder.hpp"\n'},
                                  "motion/finder, motion/fit: "),
    "circle by way of a public header's body": (
        {"src/motion/follow/walls.cpp": '#include "motion/follow/report.hpp"\n',
         "src/motion/follow/report.hpp": HEADER + '#include "echosieve/motion/walls.hpp"\n'},
        "motion/report, motion/walls: "),
    "circle by a path beside the file": ({"src/io/a.hpp": HEADER, "src/io/a.cpp": '#include "b.hpp"\n',
                                          "src/io/b.hpp": HEADER + '#include "a.hpp"\n'}, "io/a, io/b: "),
}

PICTURE = """## The house
    motion  | kernels <- line <- courses <- layers <- wall <- follow |  on pursuit, correlate, condition
    pursuit                                on dictionary, optimise, kernels
    dictionary correlate synthesis io      on atoms
    atoms optimise condition kernels       on core
    core                                   on nothing
"""
WALK = """## The walk of a frame
| 1 | `read` | `src/io/npy.cpp` | samples |
| 2 | `find` | `src/motion/wall/find.cpp` | walls |
"""
WALKED = {"src/io/npy.cpp": "X read(int);", "src/motion/wall/find.cpp": "Y find(X);", "src/motion/line/line.cpp": "X line(X);"}
# name -> (guide, part of the report that must appear, or nothing)
GUIDES = {
    "true": (PICTURE + WALK, ""),
    "arrow left out": (PICTURE.replace("correlate, condition", "correlate") + WALK, "the picture shows 'motion' on"),
    "room left out": (PICTURE.replace("synthesis ", "") + WALK, "the picture shows 'synthesis' on None"),
    "stairs in another order": (PICTURE.replace("courses <- layers", "layers <- courses") + WALK, "'motion/layers' on"),
    "no walk": (PICTURE, "there is no walk"),
    "function that is not there": (PICTURE + WALK.replace("`find`", "`seek`"), "has no seek"),
    "return to an earlier room": (PICTURE + WALK + "| 3 | `line` | `src/motion/line/line.cpp` | |\n", "returns to an earlier"),
}


def report(changes, umbrella=True):
    """The violations in the clean tree after the changes."""
    with tempfile.TemporaryDirectory() as folder:
        root = pathlib.Path(folder)
        for name, text in {**CLEAN, **changes}.items():
            (root / name).parent.mkdir(parents=True, exist_ok=True)
            (root / name).write_text(text, encoding="utf-8")
        text = structure.umbrella_text(structure.read_sources(root))
        (root / structure.UMBRELLA).write_text(
            text if umbrella else text.replace('#include "echosieve/io/npy.hpp"\n', ""), encoding="utf-8")
        return structure.violations(root)


def main():
    failures = []
    if report({}):
        failures.append(f"clean tree: reported {report({})}")
    for name, (changes, expected) in CIRCLES.items():
        found = report(changes)
        if len(found) != 1 or expected not in found[0]:
            failures.append(f"{name}: expected one report with \"{expected}\", found {found}")
    for name, (path, text, expected) in PLANTED.items():
        found = report({path: text})
        if len(found) != 1 or expected not in found[0] or not found[0].startswith(path):
            failures.append(f"{name}: expected one report with \"{expected}\", found {found}")
    for name, (text, expected) in GUIDES.items():
        found = list(guide.check_guide({guide.GUIDE: text, **WALKED}))
        if bool(found) != bool(expected) or expected not in "".join(found):
            failures.append(f"guide, {name}: expected \"{expected}\", found {found}")
    found = report({}, umbrella=False)
    if len(found) != 1 or "does not include echosieve/io/npy.hpp" not in found[0]:
        failures.append(f"umbrella with a header left out: found {found}")
    with tempfile.TemporaryDirectory() as folder:
        if not structure.violations(pathlib.Path(folder)):
            failures.append("a tree without headers passes")
    if kernel_symbols.violations(GOOD_SYMBOLS, "avx2"):
        failures.append(f"clean symbols: reported {kernel_symbols.violations(GOOD_SYMBOLS, 'avx2')}")
    if kernel_symbols.violations("", "avx2") != ["no kernel in it"]:
        failures.append("an object without a kernel passes")
    for name, (line, expected) in PLANTED_SYMBOLS.items():
        found = kernel_symbols.violations(GOOD_SYMBOLS + line, "avx2")
        if len(found) != 1 or expected not in found[0]:
            failures.append(f"symbol, {name}: expected one report with \"{expected}\", found {found}")
    if library_symbols.violations(GOOD_LIBRARY):
        failures.append(f"clean library: reported {library_symbols.violations(GOOD_LIBRARY)}")
    if library_symbols.violations(GOOD_LIBRARY + STD_SYMBOL, shared=True):
        failures.append("std's symbols in a shared library are reported")
    if library_symbols.violations("") != ["shows nothing of ours"]:
        failures.append("an empty library passes")
    for name, (line, expected) in PLANTED_IN_LIBRARY.items():
        found = library_symbols.violations(GOOD_LIBRARY + line)
        if len(found) != 1 or expected not in found[0]:
            failures.append(f"library, {name}: expected one report with \"{expected}\", found {found}")
    for line in failures:
        print(line)
    print(f"{len(PLANTED) + len(CIRCLES) + len(GUIDES) + len(PLANTED_SYMBOLS) + len(PLANTED_IN_LIBRARY) + 8} cases, {len(failures)} failures")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
