"""The machine that performance.py measures on, what it can do at most, and how near each kernel comes."""
import datetime
import os
import re
import shutil
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
# Of the gates and lines that the benches condition, see bench/lines.hpp and bench/frames.hpp.
LINES, LINE_TAPS, LINE_RESULTS, LINE_BYTES = 10_000, 501, 106, 2 * 3571
GATE_TAPS, GATE_RESULTS, GATE_SAMPLES = 251, 44, 650
COMPLEX_TAP_FLOPS = 4  # two multiply-adds


def printed(command):
    """What a command prints, in English; nothing if it can't be run."""
    try:
        return subprocess.run(command, capture_output=True, text=True, check=True,
                              env={**os.environ, "LC_ALL": "C"}).stdout
    except (OSError, subprocess.CalledProcessError):
        return ""


def first_line(command):
    return (printed(command).splitlines() or ["unknown"])[0]


def cache_variable(build, name):
    for line in (build / "CMakeCache.txt").read_text(encoding="utf-8").splitlines():
        if line.startswith(name + ":"):
            return line.split("=", 1)[1]
    return ""


def measure_peak(programs):
    """({name: figure}, None), or ({}, what went wrong)."""
    out, problem = programs.run_named("machine_peak")
    return {key: float(value) for key, value in map(str.split, (out or "").splitlines())}, problem


def describe_machine(report, build, peak, problem):
    processor = dict(re.findall(r"^([^:]+):\s+(.*)$", printed(["lscpu"]), re.MULTILINE))
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
    memory = re.search(r"MemTotal:\s+(\d+)", Path("/proc/meminfo").read_text(encoding="utf-8"))
    report.heading("The machine")
    report.table(["", ""], [
        ["processor", model], ["cores seen", processor.get("CPU(s)", "?")], ["caches, all cores", caches],
        ["instruction sets", ", ".join(sets)],
        ["memory", f"{int(memory.group(1)) / 2**20:.0f} GiB" if memory else "?"],
        ["system", f"{os.uname().sysname} {os.uname().release}"],
        ["compiler", first_line([compiler, "--version"])],
        ["flags", f"`{flags}` ({kind}); the benches add `-O3 -march=native`, the compiled library and "
                  "`bench_motion` do not"],
        ["revision", first_line(["git", "-C", str(ROOT), "describe", "--always", "--dirty"])],
        ["date", datetime.date.today().isoformat()],
        ["other load at the start", f"{os.getloadavg()[0]:.1f} processes on average"]])
    report.text("What one core can do at most, measured by a small program in the same run. A flop is one "
                "floating-point addition or multiplication; a multiply-add counts as two.")
    if problem:
        report.text(f"`machine_peak`: {problem}.")
        return
    report.table(["what", "figure"], [
        ["clock", f"{peak['clock_ghz']:.2f} GHz"],
        ["multiply-adds, float", f"{peak['peak_float_gflops']:.0f} Gflop/s"],
        ["multiply-adds, double", f"{peak['peak_double_gflops']:.0f} Gflop/s"],
        ["reading from the first-level cache", f"{peak['read_first_level_gbs']:.0f} GB/s"],
        ["reading from the second-level cache", f"{peak['read_second_level_gbs']:.0f} GB/s"],
        ["reading from memory", f"{peak['read_memory_gbs']:.1f} GB/s"],
        ["copying in memory, bytes copied", f"{peak['copy_memory_gbs']:.1f} GB/s"]])
    report.command("build/release/bench/machine_peak")


def kernels(benches):
    """(label, flops a second, flops a byte or None in cache, float or double) of each kernel that was measured."""
    found = []
    for label, name, results, taps, data, r in (
            ("condition a line, float", "condition_lines<float, std::int16_t>/10000", LINES * LINE_RESULTS, LINE_TAPS,
             LINES * (LINE_BYTES + 8 * LINE_RESULTS), "float"),
            ("condition a line, double", "condition_lines<double, std::int16_t>/10000", LINES * LINE_RESULTS, LINE_TAPS,
             LINES * (LINE_BYTES + 16 * LINE_RESULTS), "double"),
            ("condition a gate, float", "condition_gate<float>", GATE_RESULTS, GATE_TAPS,
             4 * GATE_SAMPLES + 8 * GATE_RESULTS, "float"),
            ("condition a gate, double", "condition_gate<double>", GATE_RESULTS, GATE_TAPS,
             8 * GATE_SAMPLES + 16 * GATE_RESULTS, "double")):
        taken, flops = benches.time(name), COMPLEX_TAP_FLOPS * taps * results
        if taken:
            found.append((label, flops / taken, flops / data, r))
    for label, name in (("scan of the dictionary", "lane_scan"), ("evaluation of an atom", "lane_moments"),
                        ("orthonormalise ten atoms", "lane_basis")):
        for r in ("float", "double"):
            found.append((f"{label}, {r}", benches.counter(f"{name}<{r}>", "flop/s"), None, r))
    found.append(("turned sums over frames, double, any processor's code",
                  benches.counter("sums_turned/4000", "flop/s"), None, "double"))
    return [kernel for kernel in found if kernel[1]]


def roofline(report, programs, benches, peak, problem, picture):
    report.heading("How near to the machine's limits")
    report.text("A kernel can be no faster than the arithmetic units allow, nor than its data come from memory (the "
                "roofline of Williams, Waterman and Patterson 2009). Flops are counted by formula: each complex tap of a filter "
                "is two multiply-adds, four flops; a tap of the dictionary's scan, shared by two atoms, eight; an "
                "evaluation 38 a sample, its exponential counted as ten. \"Flops a byte\" counts the bytes that must come "
                "from memory and go back; a gate's work stays in the first-level cache.")
    picture.unlink(missing_ok=True)  # none is better than an old one
    if problem:
        report.text(f"`machine_peak`: {problem}.")
        return
    measured = kernels(benches)
    rows = []
    for label, rate, intensity, r in measured:
        top = 1e9 * peak[f"peak_{r}_gflops"]
        bound = min(top, intensity * 1e9 * peak["read_memory_gbs"]) if intensity else top
        rows.append([label, f"{rate * 1e-9:.1f}", f"{intensity:.1f}" if intensity else "in cache",
                     "memory" if bound < top else "arithmetic", f"{bound * 1e-9:.0f}", f"{100 * rate / bound:.0f} %"])
    report.table(["kernel", "Gflop/s", "flops a byte", "limit", "limit, Gflop/s", "reached"], rows)
    from_memory = [kernel for kernel in measured if kernel[2]]
    if not from_memory:
        return
    failed = draw_roofline(from_memory, peak, picture)
    report.text(f"The picture, by gnuplot: {programs.note('gnuplot', failed)}." if failed else
                f"![Kernels under the roofline](pictures/{picture.name})")


def draw_roofline(points, peak, picture):
    """What went wrong, or nothing."""
    if not shutil.which("gnuplot"):
        return "not installed"
    memory, top = peak["read_memory_gbs"], {r: peak[f"peak_{r}_gflops"] for r in ("float", "double")}
    curves = [f"roof(x, {top['float']}) lw 2 lc rgb '#222222' title 'limit, float'",
              f"roof(x, {top['double']}) lw 2 dt 2 lc rgb '#222222' title 'limit, double'"]
    data = []
    for k, (label, rate, intensity, _) in enumerate(points):
        data.append(f"{k} {rate * 1e-9} {intensity}")
        curves.append(f"$points using 3:($1 == {k} ? $2 : NaN) with points pt {(5, 7, 9, 11, 13)[k % 5]} ps 2 lw 2 "
                      f"title '{label}'")
    script = "\n".join([
        "set terminal pngcairo size 1000,620 font 'sans,13'", f"set output '{picture}'", "set logscale xy",
        "set xrange [0.5:100]", f"set yrange [5:{2 * top['float']}]",
        "set xlabel 'operations for each byte from or to memory [flop/byte]'",
        "set ylabel 'operations a second [Gflop/s]'", "set title 'Kernels whose data come from memory, one core'",
        "set grid", "set key bottom right", "$points << END", *data, "END",
        f"roof(x, top) = x * {memory} < top ? x * {memory} : top", "plot " + ", ".join(curves), ""])
    picture.parent.mkdir(parents=True, exist_ok=True)
    done = subprocess.run(["gnuplot"], input=script, capture_output=True, text=True, check=False)
    if done.returncode == 0 and picture.is_file():
        return None
    picture.unlink(missing_ok=True)
    return f"failed with status {done.returncode}: {(done.stderr.strip().splitlines() or ['no message'])[-1]}"
