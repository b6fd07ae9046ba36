#!/usr/bin/env python3
"""Times how long a user's file takes to compile, header-only and against the compiled library.

    python3 bench/compile_time.py [--times 3] [--compilers g++ clang++-16] [--flags "-O2"] [--eigen DIR]

The file includes the umbrella header (or single headers) and takes a frame apart by an orthogonal pursuit with a particle
swarm. Prints, for each case, the least of several runs: processor seconds (of the compiler and its children), which other
load on the machine disturbs little, and seconds by the clock. The compiled case only defines ECHOSIEVE_COMPILED, as
linking echosieve::pursuit does: nothing needs to have been built.
"""
import argparse
import os
import resource
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

CALLS = """
int main() {
    using namespace echosieve;
    const SamplingGrid grid{20e-6, 4e6, 44, 4e6};
    const GaborBox box = GaborBox::around({4e6, 1e6}, 0.10, {grid.start_time, grid.end_time()});
    std::vector<std::complex<double>> samples(grid.count);
    add(Echo<Gabor<double>>{{25e-6, 4e6, 1e6}, 1.0}, grid, std::span<std::complex<double>>(samples));
    const Signal<std::complex<double>> signal{samples, grid};
    const auto found = pursue(signal, box, Orthogonal{.atoms = 10}, Swarm{.particles = 50}, 1);
    return found.usable() ? 0 : 1;
}
"""
ALL = '#include "echosieve/echosieve.hpp"\n'
SOME = '#include "echosieve/pursuit/detail/compiled.hpp"\n'
CASES = [
    ("Eigen/Core alone", "#include <Eigen/Core>\n", False),
    ("umbrella header, no call", ALL, False),
    ("umbrella header, pursue(...)", ALL + CALLS, False),
    ("one header, pursue(...)", SOME + CALLS, False),
    ("umbrella header, pursue(...), compiled library", ALL + CALLS, True),
    ("one header, pursue(...), compiled library", SOME + CALLS, True),
]


def folder_of_eigen():
    """The one pkg-config names, or nothing."""
    if not shutil.which("pkg-config"):
        return None
    flags = subprocess.run(["pkg-config", "--cflags-only-I", "eigen3"], capture_output=True, text=True, check=False)
    return flags.stdout.strip().removeprefix("-I")


def compile_once(command):
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    subprocess.run(command, check=True)
    clock = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime, clock


def main():
    root = Path(__file__).resolve().parent.parent
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=3, help="runs of each case")
    parser.add_argument("--compilers", nargs="+", default=["g++", "clang++-16"])
    parser.add_argument("--flags", default="-O2")
    parser.add_argument("--eigen", help="folder that holds Eigen/Core; default: pkg-config's")
    parser.add_argument("--include", default=str(root / "include"), help="folder of the library's headers")
    options = parser.parse_args()
    os.environ["CCACHE_DISABLE"] = "1"
    if not options.eigen:
        options.eigen = folder_of_eigen() or parser.error("Eigen was not found: give --eigen")
    with tempfile.TemporaryDirectory() as folder:
        for compiler in options.compilers:
            if not shutil.which(compiler):
                print(f"{compiler}: not found")
                continue
            for name, text, compiled in CASES:
                source = Path(folder) / "user.cpp"
                source.write_text("#include <complex>\n#include <span>\n#include <vector>\n" + text)
                command = [compiler, "-std=c++20", *options.flags.split(), "-I", options.include, "-isystem"]
                command += [options.eigen, "-c", str(source), "-o", f"{folder}/user.o"]
                command += ["-DECHOSIEVE_COMPILED=ECHOSIEVE_LAYOUT"] if compiled else []
                runs = [compile_once(command) for _ in range(options.times)]
                processor, clock = (min(values) for values in zip(*runs))
                print(f"{compiler} {options.flags}: {name:47} {processor:6.2f} s, by the clock {clock:6.2f} s", flush=True)


if __name__ == "__main__":
    main()
