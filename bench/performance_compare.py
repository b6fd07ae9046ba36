"""The comparisons of docs/performance.md: programs that set two ways beside each other, and whole processes."""
import re
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

# What is aimed at, where it stands in a program's output, and whether more is better.
AIMS = {
    "compare_fast_and_textbook": (
        ("a frame of ten echoes in float, over the textbook's pursuit", 5000, r"float.*?ratio: (\d+)", True),
        ("a frame of ten echoes in double, over the textbook's pursuit", 5000, r"\ndouble.*?ratio: (\d+)", True)),
    "compare_swarms": tuple(
        (f"the swarm in lanes, {name}, over the textbook's swarm", 200, rf"lanes, {name}: .*?ratio (\d+)", True)
        for name in ("baseline", "avx2", "avx512")),
    "stream_latency": (
        ("a stream's median latency by the clock [us]", 50, r"clock:\s+median ([\d.]+)", False),
        ("a stream's 99.9th percentile by the clock [us]", 500, r"clock:.*?99.9 % ([\d.]+)", False)),
    "gram": (
        ("Gram pursuit over scikit-learn, 42 x 1,050", 50, r"42 x 1050.*?ratio (\d+)", True),
        ("Gram pursuit over scikit-learn, 256 x 4,096", 50, r"256 x 4096.*?ratio (\d+)", True)),
}


def aim_at(report, name, out):
    for what, aim, pattern, more in AIMS.get(name, ()):
        found = re.search(pattern, out or "", re.DOTALL)
        if found:
            value = float(found.group(1))
            report.aim(f"{what}: {'at least' if more else 'at most'} {aim:,}", aim if more else -aim,
                       value if more else -value, "{:,.0f}" if more else "{:.1f}", "see below", shown=value)


def compare(report, programs, options):
    report.heading("Beside other ways")
    for title, text, name, arguments in (
            ("The fast path and the textbook's pursuit",
             "The same frames, one after the other, by processor time; then the fast path beside a converged fit.",
             "compare_fast_and_textbook", [str(options.frames)]),
            ("The swarm and the textbook's swarm", "The same frames and as many evaluations, by processor time.",
             "compare_swarms", [str(min(options.frames, 50))]),
            ("Latency of a stream", "From a frame's last sample to its result.", "stream_latency", [])):
        report.heading(title, 3)
        report.text(text)
        out, problem = programs.run_named(name, *arguments)
        report.output(out, problem)
        aim_at(report, name, out)
        report.command(" ".join([f"build/release/bench/{name}", *arguments]))
    report.heading("Gram pursuit and scikit-learn", 3)
    report.text("`orthogonal_mp_gram` of scikit-learn on the same dictionary and signals, ten atoms a signal.")
    batch = programs.path("decompose_batch")
    out, problem = (None, "not built") if batch is None else programs.run(
        [options.python, ROOT / "bench/compare_orthogonal_pursuit.py", batch])
    report.output(out and out.replace(str(batch), "decompose_batch"), problem)
    aim_at(report, "gram", out)
    report.command("python3 bench/compare_orthogonal_pursuit.py build/release/examples/decompose_batch")
    report.heading("Time to compile a user's file", 3)
    found = sorted(ROOT.glob("bench/compile_time.*"))
    out, problem = (None, "not in this revision") if not found else programs.run(
        ([options.python] if found[0].suffix == ".py" else ["bash"]) + [found[0]] +
        (["--times", "1"] if found[0].suffix == ".py" else []))
    report.output(out, problem)
    report.command(f"python3 bench/{found[0].name} --times 1" if found else "bench/compile_time.py")


def whole_process(report, programs):
    report.heading("A whole recording")
    report.text("A synthetic recording of 4 s (16 bits, 125 MHz, 1,000 frames a second), read from its file, both walls found "
                "and followed, the results written; one process, one thread, no pictures.")
    make, track, clock = programs.path("make_recording"), programs.path("track_artery"), Path("/usr/bin/time")
    if make is None or track is None or not clock.exists():
        missing = "`make_recording` and `track_artery`: not built." if clock.exists() else "`time`: not installed."
        report.text(missing)
        return
    with tempfile.TemporaryDirectory() as folder:
        name = Path(folder) / "line.npy"
        _, problem = programs.run([make, "--seed", "1", "--seconds", "4", "--depth-range", "0.022", name])
        if problem:
            report.text(f"`make_recording`: {problem}.")
            return
        size = name.stat().st_size
        best = None
        for _ in range(5):
            text, problem = programs.run(["sh", "-c", '"$0" -f "%e %U %S %M" "$1" "$2" --no-pictures --out "$3" '
                                          "2>&1 >/dev/null | tail -1", clock, track, name, Path(folder) / "out"])
            try:
                elapsed, user, system, kilobytes = (float(x) for x in (text or "").split())
            except ValueError:
                report.text(f"`track_artery`: {problem or text or 'failed'}.")
                return
            if best is None or user + system < best[1]:
                best = (elapsed, user + system, 1024 * kilobytes)
    report.table(["what", "figure", "ratio"], [
        ["processor time", f"{best[1]:.2f} s", f"{best[1] / 4:.3f} of the recording's length"],
        ["time by the clock", f"{best[0]:.2f} s", f"{best[0] / 4:.3f} of the recording's length"],
        ["most memory", f"{best[2] * 1e-6:.0f} MB",
         f"{best[2] / size:.2f} times the file of {size * 1e-6:.1f} MB ({(size - 128) // 8000} samples a frame)"]])
    report.aim("a recording of 4 s followed in a 20th of its length by the clock, reading and writing included: times real "
               "time", 20, 4 / best[0], "{:.1f}", "see below")
    report.aim("most memory, in sizes of the file: at most 3", -3, -best[2] / size, "{:.2f}", "see below",
               shown=best[2] / size)
    report.command("make_recording --seed 1 --seconds 4 --depth-range 0.022 line.npy && /usr/bin/time -v track_artery line.npy --no-pictures")
