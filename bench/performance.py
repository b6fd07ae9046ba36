#!/usr/bin/env python3
"""Runs all benches and comparisons of a build and writes docs/performance.md and its picture.

    python3 bench/performance.py [--build build/release] [--out docs/performance.md] [--repetitions 5] [--frames 60]

Takes five to ten minutes. A program that the build does not have is named as not built, one that fails as failed; the
rest goes on. Close everything else first: times are the least of several runs, but a busy machine still makes them longer.
"""
import argparse
import datetime
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from performance_compare import compare, whole_process
from performance_text import Report, number, seconds

ROOT = Path(__file__).resolve().parent.parent
LINE_TAPS, LINE_RESULTS, LINE_BYTES = 501, 106, 2 * 3571
GATE_TAPS, GATE_RESULTS = 251, 44


class Programs:
    """The programs of a build, run with a limit of time; what they print, or why there is nothing."""

    def __init__(self, build):
        self.build = build
        self.log = []

    def path(self, name):
        for folder in ("bench", "examples"):
            found = self.build / folder / name
            if found.is_file() and os.access(found, os.X_OK):
                return found
        return None

    def run(self, command, limit=240, **more):
        """(text, None), or (None, what went wrong)."""
        print("running:", " ".join(str(part) for part in command), flush=True)
        start = time.monotonic()
        try:
            done = subprocess.run([str(part) for part in command], capture_output=True, text=True, timeout=limit,
                                  check=False, **more)
        except subprocess.TimeoutExpired:
            return None, f"stopped after {limit} s"
        except OSError as error:
            return None, f"failed: {error}"
        self.log.append((Path(str(command[0])).name, time.monotonic() - start))
        if done.returncode != 0:
            last = (done.stderr.strip().splitlines() or ["no message"])[-1]
            return None, f"failed with status {done.returncode}: {last}"
        return done.stdout, None

    def run_named(self, name, *arguments, limit=240):
        program = self.path(name)
        if program is None:
            return None, "not built"
        return self.run([program, *arguments], limit)


class Benches:
    """Least time of each benchmark over its repetitions, with that repetition's counters."""

    UNITS = {"ns": 1e-9, "us": 1e-6, "ms": 1e-3, "s": 1.0}

    def __init__(self, programs, repetitions):
        self.runs = {}
        self.problems = []
        self.shown = set()
        with tempfile.TemporaryDirectory() as folder:
            for name in ("bench_echosieve", "bench_motion"):
                out = Path(folder) / f"{name}.json"
                _, problem = programs.run_named(
                    name, f"--benchmark_repetitions={repetitions}", "--benchmark_min_time=0.05",
                    f"--benchmark_out={out}", "--benchmark_out_format=json", limit=400)
                if problem:
                    self.problems.append(f"`{name}`: {problem}.")
                    continue
                for run in json.loads(out.read_text())["benchmarks"]:
                    if run.get("run_type") == "iteration" and not run.get("error_occurred"):
                        self.take(run)

    def take(self, run):
        name = re.sub(r"/(iterations:\d+|process_time|real_time|repeats:\d+)", "", run["name"])
        unit = self.UNITS[run["time_unit"]]
        by_clock = "real_time" in run["name"]
        own = {"cpu_time": run["cpu_time"] * unit, "real_time": run["real_time"] * unit}
        own["time"] = own["real_time" if by_clock else "cpu_time"]
        known = ("iterations", "threads", "repetitions", "repetition_index", "family_index",
                 "per_family_instance_index")
        own["counters"] = {key: value for key, value in run.items()
                           if isinstance(value, (int, float)) and key not in known and not key.endswith("_time")}
        if name not in self.runs or own["time"] < self.runs[name]["time"]:
            self.runs[name] = own

    def get(self, name):
        self.shown.add(name)
        return self.runs.get(name)

    def time(self, name):
        run = self.get(name)
        return run["time"] if run else None

    def counter(self, name, key):
        run = self.get(name)
        return run["counters"].get(key) if run else None

    def rest(self):
        return {name: run for name, run in self.runs.items() if name not in self.shown}


def first_line(command):
    try:
        return subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()[0]
    except (OSError, subprocess.CalledProcessError, IndexError):
        return "unknown"


def cache_variable(build, name):
    for line in (build / "CMakeCache.txt").read_text().splitlines():
        if line.startswith(name + ":"):
            return line.split("=", 1)[1]
    return ""


def describe_machine(report, build, peak):
    processor = dict(re.findall(r"^([^:]+):\s+(.*)$", first_line_all(["lscpu"]), re.MULTILINE))
    compiler = cache_variable(build, "CMAKE_CXX_COMPILER")
    kind = cache_variable(build, "CMAKE_BUILD_TYPE")
    flags = " ".join([cache_variable(build, "CMAKE_CXX_FLAGS"),
                      cache_variable(build, f"CMAKE_CXX_FLAGS_{kind.upper()}")]).strip()
    model = " ".join(filter(None, [processor.get("Model name"),
                                   f"(family {processor.get('CPU family', '?')}, model {processor.get('Model', '?')})"]))
    caches = ", ".join(f"{level} {processor[key]}" for level, key in
                       (("L1 data", "L1d cache"), ("L2", "L2 cache"), ("L3", "L3 cache")) if key in processor)
    sets = [name for name in ("avx512f", "avx2", "fma", "sse4_2", "neon", "asimd")
            if name in processor.get("Flags", "").split()]
    memory = re.search(r"MemTotal:\s+(\d+)", Path("/proc/meminfo").read_text())
    rows = [["processor", model], ["cores seen", processor.get("CPU(s)", "?")], ["caches, all cores", caches],
            ["instruction sets", ", ".join(sets)],
            ["memory", f"{int(memory.group(1)) / 2**20:.0f} GiB" if memory else "?"],
            ["system", f"{os.uname().sysname} {os.uname().release}"],
            ["compiler", first_line([compiler, "--version"])],
            ["flags", f"`{flags}` ({kind}); the benches add `-O3 -march=native`, the compiled library and "
                      "`bench_motion` do not"],
            ["revision", first_line(["git", "-C", str(ROOT), "describe", "--always", "--dirty"])],
            ["date", datetime.date.today().isoformat()],
            ["other load at the start", f"{os.getloadavg()[0]:.1f} processes on average"]]
    report.heading("The machine")
    report.table(["", ""], rows)
    if not peak:
        return
    report.text("What one core can do at most, measured by a small program in the same run. A flop is one "
                "floating-point addition or multiplication; a multiply-add counts as two.")
    report.table(["what", "figure"], [
        ["clock", f"{peak['clock_ghz']:.2f} GHz"],
        ["multiply-adds, float", f"{peak['peak_float_gflops']:.0f} Gflop/s"],
        ["multiply-adds, double", f"{peak['peak_double_gflops']:.0f} Gflop/s"],
        ["reading from the first-level cache", f"{peak['read_first_level_gbs']:.0f} GB/s"],
        ["reading from the second-level cache", f"{peak['read_second_level_gbs']:.0f} GB/s"],
        ["reading from memory", f"{peak['read_memory_gbs']:.1f} GB/s"],
        ["copying in memory, bytes copied", f"{peak['copy_memory_gbs']:.1f} GB/s"]])
    report.command("build/release/bench/machine_peak")


def first_line_all(command):
    try:
        return subprocess.run(command, capture_output=True, text=True, check=True,
                              env={**os.environ, "LC_ALL": "C"}).stdout
    except (OSError, subprocess.CalledProcessError):
        return ""


def conditioning(report, benches):
    report.heading("Conditioning")
    report.text("Lines of 3,571 samples of 16 bits at 125 MHz, band 4 MHz ± 0.5 MHz, become 106 complex samples. The "
                "copy moves the same bytes by `memcpy`. \"One line\" is the same line again and again, from the "
                "nearest cache; \"10,000 lines\" come from memory. The frame check looks at 4,000 lines.")
    rows = []
    for label, name in (
            ("copy, one line", "copy_lines/1"), ("copy, 10,000 lines", "copy_lines/10000"),
            ("`Basebander<float>`, one line", "condition_lines<float, std::int16_t>/1"),
            ("`Basebander<float>`, 10,000 lines", "condition_lines<float, std::int16_t>/10000"),
            ("`Basebander<double>`, one line", "condition_lines<double, std::int16_t>/1"),
            ("`Basebander<double>`, 10,000 lines", "condition_lines<double, std::int16_t>/10000"),
            ("the same by FFTW, float, one line", "condition_lines_by_fft"),
            ("`check_frames`, baseband in float", "check_lines<float>/4000"),
            ("`check_frames`, baseband in double", "check_lines<double>/4000")):
        rate, data = benches.counter(name, "frames/s"), benches.counter(name, "bytes/s")
        copy = benches.counter("copy_lines/10000", "bytes/s")
        rows.append([label, seconds(1 / rate) if rate else None, f"{data * 1e-9:.2f}" if data else None,
                     f"{data / copy:.2f}" if data and copy else None])
    report.table(["what", "time a line", "raw GB/s", "over the copy of 10,000 lines"], rows)
    gates = [[f"`GateBasebander<{r}>`", seconds(benches.time(f"condition_gate<{r}>"))] for r in ("float", "double")]
    report.text("A gate of 650 raw samples becomes 44 complex ones, right up to its ends:")
    report.table(["what", "time a gate"], gates)
    report.command("build/release/bench/bench_echosieve --benchmark_filter='lines|condition_gate'")
    line = benches.counter("condition_lines<float, std::int16_t>/10000", "bytes/s")
    copy = benches.counter("copy_lines/10000", "bytes/s")
    check = benches.counter("check_lines<float>/4000", "bytes/s")
    if line and copy:
        report.aim("conditioning a line as fast as copying it", 1, line / copy, "{:.2f} of the copy's speed",
                   "the filter needs 30 multiply-adds a raw sample: arithmetic is the limit, not memory")
    if check and copy:
        report.aim("checking a frame as fast as copying it", 1, check / copy, "{:.2f} of the copy's speed",
                   "it reads each sample twice")


def pursuit(report, benches):
    report.heading("A frame taken apart")
    report.text("A gate of 650 raw samples (5.2 µs) with ten echoes and noise 20 dB under the strongest. The textbook's "
                "pursuit is a particle swarm of 50 particles and 100 iterations an echo, on the raw samples.")
    rows = []
    for label, name in (
            ("`FastPursuit<float>`", "fast_pursuit<float>"), ("`FastPursuit<double>`", "fast_pursuit<double>"),
            ("with conditioning, float", "fast_pursuit_with_conditioning<float>"),
            ("with conditioning, double", "fast_pursuit_with_conditioning<double>"),
            ("textbook's pursuit", "textbook_pursuit")):
        time_taken = benches.time(name)
        rows.append([label, seconds(time_taken), number(1 / time_taken) if time_taken else None])
    report.table(["what", "time a frame", "frames/s"], rows)
    report.text("Its parts, each on one frame:")
    rows = []
    for label, name, key, what in (
            ("scan of the grid dictionary", "lane_scan", "atoms/s", "atoms"),
            ("one evaluation of an atom, all sums", "lane_moments", "evaluations/s", "evaluations"),
            ("polish of one atom", "lane_polish", "atoms/s", "atoms"),
            ("ten atoms made orthonormal and taken out", "lane_basis", "atoms/s", "atoms")):
        for r in ("float", "double"):
            full = f"{name}<{r}>"
            rate, flops = benches.counter(full, key), benches.counter(full, "flop/s")
            rows.append([f"{label}, {r}", seconds(benches.time(full)), f"{number(rate)} {what}" if rate else None,
                         f"{flops * 1e-9:.1f}" if flops else "—"])
    report.table(["part", "time", "a second", "Gflop/s"], rows)
    report.command("build/release/bench/bench_echosieve --benchmark_filter='pursuit|lane'")


def atoms(report, benches):
    report.heading("Atoms")
    report.text("An atom written to a grid by its recurrence (no exponential, sine or cosine a sample), the inner product "
                "of two atoms in closed form, and the cross-correlation of two sums of ten echoes at one lag.")
    rows = []
    for label, name in (("atom on 40 samples", "sample_atom<{}>/40"), ("atom on 160 samples", "sample_atom<{}>/160"),
                        ("inner product", "inner_product_of_atoms<{}>")):
        for r in ("float", "double"):
            full = name.format(r)
            rate = benches.counter(full, "samples/s") or benches.counter(full, "products/s")
            rows.append([f"{label}, {r}", seconds(benches.time(full)), number(rate)])
    rows.append(["cross-correlation, double", seconds(benches.time("cross_correlation_of_echoes/10")),
                 number(benches.counter("cross_correlation_of_echoes/10", "products/s"))])
    report.table(["what", "time", "samples or products a second"], rows)
    report.command("build/release/bench/bench_echosieve --benchmark_filter=atom`, "
                   "`build/release/bench/bench_motion --benchmark_filter=correlation")


def growth(report, benches):
    report.heading("How cost grows")
    sizes = (160, 325, 650, 1300, 2600)
    report.text("`FastPursuit<float>` without conditioning, ten echoes. The raw samples are at 125 MHz, of which one in "
                "15 is kept.")
    rows = [[str(n), seconds(benches.time(f"fast_pursuit_of_size/{n}/10"))] for n in sizes]
    report.table(["raw samples in the gate", "time a frame"], rows)
    report.text("The same in a gate of 650 samples. From some twenty echoes on the gate's 44 complex samples are used "
                "up, and the pursuit ends by itself.")
    rows = [[str(n), seconds(benches.time(f"fast_pursuit_of_size/650/{n}"))] for n in (1, 2, 5, 10, 20, 40)]
    report.table(["echoes asked for", "time a frame"], rows)
    report.text("`GramPursuit<double>`: signals of 42 samples, ten atoms each, over a dictionary of random columns.")
    rows = []
    for n in (262, 525, 1050, 2100, 4200):
        rate = benches.counter(f"gram_pursuit<double>/42/{n}", "signals/s")
        rows.append([str(n), seconds(1 / rate) if rate else None])
    report.table(["columns", "time a signal"], rows)
    report.text("One echo searched for by the library's particle swarm (any box, any objective), 44 complex samples, 100 "
                "iterations:")
    rows = []
    for n in (10, 20, 50, 100, 200):
        rate = benches.counter(f"swarm_of_size/{n}", "evaluations/s")
        rows.append([str(n), seconds(benches.time(f"swarm_of_size/{n}")), number(rate)])
    report.table(["particles", "time a search", "evaluations/s"], rows)
    report.text("`fit_layers`: two layers, seven frequencies.")
    rows = [[str(n), seconds(benches.time(f"layers_fit/{n}"))] for n in (500, 1000, 2000, 4000)]
    report.table(["frames", "time a fit"], rows)
    report.text("Delays between sums of echoes, in closed form, and joint fits of all echoes of a gate:")
    rows = [[f"`delay_between`, sums of {n}", seconds(benches.time(f"delay_of_echoes/{n}"))] for n in (1, 3, 10)]
    rows += [[f"`fit_echoes`, number of echoes {n}", seconds(benches.time(f"joint_fit_of_echoes/{n}"))] for n in (1, 3, 6)]
    report.table(["what", "time"], rows)
    report.command("build/release/bench/bench_echosieve --benchmark_filter='of_size|gram_pursuit'`, "
                   "`build/release/bench/bench_motion --benchmark_filter='layers|delay|joint'")


def threads(report, benches):
    report.heading("On two threads")
    report.text("By the clock, the least of several runs; what else the machine does counts here. The last column is by "
                "the processor time of the calling thread, which does one part of two itself: what else the machine "
                "does hardly counts. The results are the same bits on any number of threads; the library starts "
                "none unless asked.")
    rows = []
    for label, name in (("`to_baseband<float>`, 4,000 lines", "lines_on_threads"),
                        ("`gates_to_baseband` and `pursue_frames`, 4,000 gates", "gates_on_threads")):
        one, two = benches.get(f"{name}/1"), benches.get(f"{name}/2")
        if one and two:
            ratio = one["cpu_time"] / two["cpu_time"]
            rows.append([label, seconds(one["real_time"]), seconds(two["real_time"]),
                         f"{one['real_time'] / two['real_time']:.2f}", f"{ratio:.2f}"])
            report.aim(f"nearly twice as fast on two cores (1.8 at least): {label}", 1.8, one["real_time"] / two["real_time"],
                       "{:.2f} times as fast", f"by the calling thread's own processor time {ratio:.2f}; "
                       f"{os.getloadavg()[0]:.1f} processes shared the machine")
    one, two = benches.get("follow_recordings/2/1"), benches.get("follow_recordings/2/2")
    if one and two:
        rows.append(["`track_arteries`, two recordings of 2 s", seconds(one["real_time"]), seconds(two["real_time"]),
                     f"{one['real_time'] / two['real_time']:.2f}", "—"])
    report.table(["what", "one thread", "two threads", "ratio", "ratio by processor time"], rows)
    report.command("build/release/bench/bench_echosieve --benchmark_filter=threads`, "
                   "`build/release/bench/bench_motion --benchmark_filter=follow")


def roofline(report, benches, peak, picture):
    report.heading("How near to the machine's limits")
    report.text("A kernel can be no faster than the arithmetic units allow, nor than its data come from memory (the "
                "roofline of Williams, Waterman and Patterson 2009). Flops are counted by formula: each complex tap of a filter "
                "is two multiply-adds, four flops; a tap of the dictionary's scan, shared by two atoms, eight; an "
                "evaluation 38 a sample, its exponential counted as ten. \"Flops a byte\" counts the bytes that must come "
                "from memory and go back; a gate's work stays in the first-level cache.")
    if not peak:
        report.text("`machine_peak`: not built.")
        return
    points = []
    for label, name, flops, data, r in (
            ("condition a line, float", "condition_lines<float, std::int16_t>/10000", 1e4 * 4 * LINE_TAPS * LINE_RESULTS,
             1e4 * (LINE_BYTES + 8 * LINE_RESULTS), "float"),
            ("condition a line, double", "condition_lines<double, std::int16_t>/10000",
             1e4 * 4 * LINE_TAPS * LINE_RESULTS, 1e4 * (LINE_BYTES + 16 * LINE_RESULTS), "double"),
            ("condition a gate, float", "condition_gate<float>", 4 * GATE_TAPS * GATE_RESULTS,
             4 * 650 + 8 * GATE_RESULTS, "float"),
            ("condition a gate, double", "condition_gate<double>", 4 * GATE_TAPS * GATE_RESULTS,
             8 * 650 + 16 * GATE_RESULTS, "double")):
        taken = benches.time(name)
        if taken:
            points.append([label, flops / taken, flops / data, r])
    for label, name in (("scan of the dictionary", "lane_scan"), ("evaluation of an atom", "lane_moments"),
                        ("orthonormalise ten atoms", "lane_basis")):
        for r in ("float", "double"):
            rate = benches.counter(f"{name}<{r}>", "flop/s")
            if rate:
                points.append([f"{label}, {r}", rate, None, r])
    rate = benches.counter("sums_turned/4000", "flop/s")
    if rate:
        points.append(["turned sums over frames, double, any processor's code", rate, None, "double"])
    rows = []
    for label, rate, intensity, r in points:
        top = 1e9 * peak[f"peak_{r}_gflops"]
        bound = min(top, intensity * 1e9 * peak["read_memory_gbs"]) if intensity else top
        rows.append([label, f"{rate * 1e-9:.1f}", f"{intensity:.1f}" if intensity else "in cache",
                     "memory" if bound < top else "arithmetic", f"{bound * 1e-9:.0f}", f"{100 * rate / bound:.0f} %"])
    report.table(["kernel", "Gflop/s", "flops a byte", "limit", "limit, Gflop/s", "reached"], rows)
    points = [p for p in points if p[2]]
    if points and shutil.which("gnuplot"):
        draw_roofline(points, peak, picture)
        report.text(f"![Kernels under the roofline](pictures/{picture.name})")


def draw_roofline(points, peak, picture):
    picture.parent.mkdir(parents=True, exist_ok=True)
    bars = []
    for k, (label, rate, intensity, r) in enumerate(points):
        bound = min(peak[f"peak_{r}_gflops"], intensity * peak["read_memory_gbs"])
        bars.append(f"{k} {rate * 1e-9} {intensity} {label!r}")
    script = f"""
set terminal pngcairo size 1000,620 font 'sans,13'
set output '{picture}'
set logscale xy
set xrange [0.5:100]
set yrange [5:{2 * peak['peak_float_gflops']}]
set xlabel 'operations for each byte from or to memory [flop/byte]'
set ylabel 'operations a second [Gflop/s]'
set title 'Kernels whose data come from memory, one core'
set grid
set key bottom right
$points << END
{chr(10).join(bars)}
END
roof(x, top) = x * {peak['read_memory_gbs']} < top ? x * {peak['read_memory_gbs']} : top
plot roof(x, {peak['peak_float_gflops']}) lw 2 lc rgb '#222222' title 'limit, float', \\
     roof(x, {peak['peak_double_gflops']}) lw 2 dt 2 lc rgb '#222222' title 'limit, double', \\
""" + ", \\\n".join(f"     $points using 3:($1 == {k} ? $2 : NaN) with points pt {(5, 7, 9, 11, 13)[k % 5]} ps 2 lw 2 "
                     f"title '{p[0]}'" for k, p in enumerate(points)) + "\n"
    subprocess.run(["gnuplot"], input=script, text=True, check=False)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--build", type=Path, default=ROOT / "build/release")
    parser.add_argument("--out", type=Path, default=ROOT / "docs/performance.md")
    parser.add_argument("--repetitions", type=int, default=5, help="of each benchmark; the least time counts")
    parser.add_argument("--frames", type=int, default=60, help="of the comparisons with the textbook")
    parser.add_argument("--python", default="/usr/bin/python3" if Path("/usr/bin/python3").exists() else sys.executable,
                        help="one that has numpy and scikit-learn")
    options = parser.parse_args()
    if not (options.build / "CMakeCache.txt").exists():
        parser.error(f"{options.build} is no build folder: give --build")
    programs = Programs(options.build)
    report = Report("Performance", "python3 bench/performance.py")
    start = time.monotonic()
    out, _ = programs.run_named("machine_peak")
    peak = {key: float(value) for key, value in (line.split() for line in (out or "").splitlines())}
    benches = Benches(programs, options.repetitions)
    describe_machine(report, options.build, peak)
    for problem in benches.problems:
        report.text(problem)
    conditioning(report, benches)
    pursuit(report, benches)
    atoms(report, benches)
    threads(report, benches)
    growth(report, benches)
    roofline(report, benches, peak, options.out.parent / "pictures/performance_roofline.png")
    whole_process(report, programs)
    compare(report, programs, options)
    rest = benches.rest()
    if rest:
        report.heading("All other benches")
        report.table(["bench", "time", "counters, a second"], [
            [f"`{name}`", seconds(run["time"]),
             ", ".join(f"{key.removesuffix('/s')}: {number(value)}" for key, value in run["counters"].items())]
            for name, run in sorted(rest.items())])
        report.command("build/release/bench/bench_echosieve")
    report.write(options.out)
    print(f"{options.out}: written, {time.monotonic() - start:.0f} s")


main()
