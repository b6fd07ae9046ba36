#!/usr/bin/env python3
"""Runs all benches and comparisons of a build and writes docs/performance.md and its picture.

    python3 bench/performance.py [--build build/release] [--out docs/performance.md] [--repetitions 5] [--frames 60]

Takes five to ten minutes, and longer if the build is not up to date: its programs are brought up to date first. What can't be
built, fails or is not measured is named as that, here and on the page; the rest goes on, and the status is 1 at the end.
Close everything else first: times are the least of several runs, but a busy machine still makes them longer.
"""
import argparse
import os
import sys
import time
from pathlib import Path

from performance_compare import compare, whole_process
from performance_machine import ROOT, describe_machine, measure_peak, roofline
from performance_run import Benches, Programs
from performance_text import Report, number, seconds


PROGRAMS = ("machine_peak", "bench_echosieve", "bench_motion", "make_recording", "track_artery",
            "compare_fast_and_textbook", "compare_swarms", "stream_latency", "decompose_batch")


def ratio(a, b):
    """a / b, or None where one of them is missing."""
    return a / b if a and b else None


def two_digits(x):
    return None if x is None else f"{x:.2f}"


def conditioning(report, benches):
    report.heading("Conditioning")
    report.text("Lines of 3,571 samples of 16 bits at 125 MHz, band 4 MHz ± 0.5 MHz, become 106 complex samples. The "
                "copy moves the same bytes by `memcpy`. \"One line\" is the same line again and again, from the "
                "nearest cache; \"10,000 lines\" come from memory. The frame check looks at 4,000 lines.")
    copy = benches.counter("copy_lines/10000", "bytes/s")
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
        rows.append([label, seconds(ratio(1, rate)), f"{data * 1e-9:.2f}" if data else None,
                     two_digits(ratio(data, copy))])
    report.table(["what", "time a line", "raw GB/s", "times as fast as copying 10,000 lines"], rows)
    gates = [[f"`GateBasebander<{r}>`", seconds(benches.time(f"condition_gate<{r}>"))] for r in ("float", "double")]
    report.text("A gate of 650 raw samples becomes 44 complex ones, right up to its ends:")
    report.table(["what", "time a gate"], gates)
    report.command("build/release/bench/bench_echosieve --benchmark_filter='lines|condition_gate'")
    report.aim("conditioning a line as fast as copying it",
               ratio(benches.counter("condition_lines<float, std::int16_t>/10000", "bytes/s"), copy),
               "{:.2f} of the copy's speed", least=1,
               why="the filter needs 30 multiply-adds a raw sample: arithmetic is the limit, not memory")
    report.aim("checking a frame as fast as copying it", ratio(benches.counter("check_lines<float>/4000", "bytes/s"), copy),
               "{:.2f} of the copy's speed", least=1,
               why="it reads each sample twice, and makes double of a baseband in float")


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
        rows.append([label, seconds(time_taken), number(ratio(1, time_taken))])
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
    report.command("build/release/bench/bench_echosieve --benchmark_filter=atom",
                   "build/release/bench/bench_motion --benchmark_filter=correlation")


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
        rows.append([str(n), seconds(ratio(1, rate))])
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
    report.command("build/release/bench/bench_echosieve --benchmark_filter='of_size|gram_pursuit'",
                   "build/release/bench/bench_motion --benchmark_filter='layers|delay|joint'")


def threads(report, benches):
    report.heading("On two threads")
    report.text("By the clock, the least of several runs; what else the machine does counts here. The last column is by "
                "the processor time of the calling thread, which does one part of two itself: what else the machine "
                "does hardly counts. The results are the same bits on any number of threads; the library starts "
                "none unless asked.")
    rows = []
    for label, name, aimed_at in (
            ("`to_baseband<float>`, 4,000 lines", "lines_on_threads", True),
            ("`gates_to_baseband` and `pursue_frames`, 4,000 gates", "gates_on_threads", True),
            ("`track_arteries`, two recordings of 2 s", "follow_recordings/2", False)):
        one, two = benches.get(f"{name}/1"), benches.get(f"{name}/2")
        by_clock = one["real_time"] / two["real_time"] if one and two else None
        by_processor = one["cpu_time"] / two["cpu_time"] if one and two else None
        rows.append([label, seconds(one and one["real_time"]), seconds(two and two["real_time"]), two_digits(by_clock),
                     two_digits(by_processor) if aimed_at else "—"])  # the last counts all threads' processor time
        if aimed_at:
            report.aim(f"nearly twice as fast on two cores (1.8 at least): {label}", by_clock, "{:.2f} times as fast",
                       least=1.8, why=f"by the calling thread's own processor time {two_digits(by_processor)}; "
                       f"{os.getloadavg()[0]:.1f} processes shared the machine")
    report.table(["what", "one thread", "two threads", "ratio", "ratio by processor time"], rows)
    report.command("build/release/bench/bench_echosieve --benchmark_filter=threads",
                   "build/release/bench/bench_motion --benchmark_filter=follow")


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
    for name in PROGRAMS:  # all before the first is measured
        programs.program(name)
    start = time.monotonic()
    peak, no_peak = measure_peak(programs)
    benches = Benches(programs, options.repetitions)
    describe_machine(report, options.build, peak, no_peak)
    for problem in benches.problems:
        report.text(problem)
    conditioning(report, benches)
    pursuit(report, benches)
    atoms(report, benches)
    threads(report, benches)
    growth(report, benches)
    roofline(report, programs, benches, peak, no_peak, options.out.parent / "pictures/performance_roofline.png")
    whole_process(report, programs)
    compare(report, programs, options)
    rest = benches.rest()
    if rest:
        report.heading("All other benches")
        report.table(["bench", "time", "counters, a second"], [
            [f"`{name}`", seconds(run["time"]),
             ", ".join(f"{key.removesuffix('/s')}: {number(value)}" for key, value in run["counters"].items())]
            for name, run in sorted(rest.items())])
        report.command("build/release/bench/bench_echosieve", "build/release/bench/bench_motion")
    report.write(options.out)
    print(f"{options.out}: written, {time.monotonic() - start:.0f} s")
    for problem in programs.problems:
        print(f"not measured: {problem}", file=sys.stderr)
    return 1 if programs.problems else 0


if __name__ == "__main__":
    sys.exit(main())
