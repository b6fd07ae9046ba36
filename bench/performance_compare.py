"""The comparisons of docs/performance.md: programs that set two ways beside each other, and whole processes."""
import re
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

# By program: what is aimed at, where the figure stands in its output, and "least" or "most" with the limit.
AIMS = {
    "compare_fast_and_textbook": (
        ("a frame of ten echoes in float, over the textbook's pursuit", r"float.*?ratio: (\d+)", "least", 5000),
        ("a frame of ten echoes in double, over the textbook's pursuit", r"\ndouble.*?ratio: (\d+)", "least", 5000)),
    "compare_swarms": tuple(
        (f"the swarm in lanes, {name}, over the textbook's swarm", rf"lanes, {name}: .*?ratio (\d+)", "least", 200)
        for name in ("baseline", "avx2", "avx512")),
    "stream_latency": (
        ("a stream's median latency by the clock [us]", r"clock:\s+median ([\d.]+)", "most", 50),
        ("a stream's 99.9th percentile by the clock [us]", r"clock:.*?99.9 % ([\d.]+)", "most", 500)),
    "gram": (
        ("Gram pursuit over scikit-learn, 42 x 1,050", r"42 x 1050.*?ratio (\d+)", "least", 50),
        ("Gram pursuit over scikit-learn, 256 x 4,096", r"256 x 4096.*?ratio (\d+)", "least", 50)),
}


def aim_at(report, name, out):
    for what, pattern, side, limit in AIMS.get(name, ()):
        found = re.search(pattern, out or "", re.DOTALL)
        report.aim(f"{what}: at {side} {limit:,}", float(found.group(1)) if found else None,
                   "{:,.0f}" if side == "least" else "{:.1f}", **{side: limit})


def compare(report, programs, options):
    report.heading("Beside other ways")
    for title, text, name, arguments in (
            ("The fast path and the textbook's pursuit",
             "The same frames, one after the other, by processor time; then the fast path beside a converged fit.",
             "compare_fast_and_textbook", [str(options.frames)]),
            ("The swarm and the textbook's swarm", "The same frames and as many evaluations, by processor time.",
             "compare_swarms", [str(min(options.frames, 50))]),
            ("Latency of a stream",
             "`FrameFollower` on a synthetic recording, its artery learned from 3 s: from a frame's last sample to its "
             "result. The first frame, whose walls are looked for, takes longer than others.", "stream_latency", [])):
        report.heading(title, 3)
        report.text(text)
        out, problem = programs.run_named(name, *arguments)
        report.output(out, problem)
        aim_at(report, name, out)
        report.command(" ".join([f"build/release/bench/{name}", *arguments]))
    report.heading("Gram pursuit and scikit-learn", 3)
    report.text("`orthogonal_mp_gram` of scikit-learn on the same dictionary and signals, ten atoms a signal.")
    batch, problem = programs.program("decompose_batch")
    out = None
    if not problem:
        script = "compare_orthogonal_pursuit.py"
        out, problem = programs.run([options.python, ROOT / "bench" / script, batch], name=script)
    report.output(out and out.replace(str(batch), "decompose_batch"), problem)
    aim_at(report, "gram", out)
    report.command("python3 bench/compare_orthogonal_pursuit.py build/release/examples/decompose_batch")
    report.heading("Time to compile a user's file", 3)
    script = "compile_time.py"
    report.output(*programs.run([options.python, ROOT / "bench" / script, "--times", "1"], name=script))
    report.command("python3 bench/compile_time.py --times 1")


SECONDS, FRAME_RATE, VALUE_BYTES = 4, 1000, 2


def whole_process(report, programs):
    report.heading("A whole recording")
    report.text("A synthetic recording of 4 s (16 bits, 125 MHz, 1,000 frames a second), read from its file, both walls found "
                "and followed, the results written; one process, one thread, no pictures.")
    size, best, problem = follow_recording(programs)
    if problem:
        report.text(f"{problem}.")
        best = (None, None, None)
    else:
        samples = size // (SECONDS * FRAME_RATE * VALUE_BYTES)  # the file's header is shorter than a frame
        elapsed, processor, memory = best
        report.table(["what", "figure", "ratio"], [
            ["processor time", f"{processor:.2f} s", f"{processor / SECONDS:.3f} of the recording's length"],
            ["time by the clock", f"{elapsed:.2f} s", f"{elapsed / SECONDS:.3f} of the recording's length"],
            ["most memory", f"{memory * 1e-6:.0f} MB",
             f"{memory / size:.2f} times the file of {size * 1e-6:.1f} MB ({samples} samples a frame)"]])
    report.aim("a recording of 4 s read, followed and written in a 20th of its length by the clock",
               best[0] and SECONDS / best[0], "{:.1f} times as fast as it lasts", least=20)
    report.aim("most memory, in sizes of the file: at most 3", best[2] and best[2] / size, "{:.2f}", most=3)
    report.command("make_recording --seed 1 --seconds 4 --depth-range 0.022 line.npy && /usr/bin/time -v track_artery "
                   "line.npy --no-pictures")


def follow_recording(programs):
    """(size of the file, (seconds by the clock, processor seconds, bytes of memory), None), of the run with the least
    processor time; or (None, None, what went wrong)."""
    (make, not_made), (track, not_tracked) = programs.program("make_recording"), programs.program("track_artery")
    if not_made or not_tracked:
        return None, None, f"`make_recording`, `track_artery`: {not_made or not_tracked}"
    with tempfile.TemporaryDirectory() as folder:
        name, figures = Path(folder) / "line.npy", Path(folder) / "figures"
        _, problem = programs.run([make, "--seed", "1", "--seconds", SECONDS, "--depth-range", "0.022", name])
        if problem:
            return None, None, f"`make_recording`: {problem}"
        runs = []
        for _ in range(5):
            # Its status is the program's own.
            _, problem = programs.run(["/usr/bin/time", "-f", "%e %U %S %M", "-o", figures, track, name,
                                       "--no-pictures", "--out", Path(folder) / "out"], name="track_artery")
            if problem:
                return None, None, f"`track_artery`: {problem}"
            elapsed, user, system, kilobytes = map(float, figures.read_text(encoding="utf-8").split())
            runs.append((elapsed, user + system, 1024 * kilobytes))
        return name.stat().st_size, min(runs, key=lambda run: run[1]), None
