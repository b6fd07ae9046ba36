"""Cases: files and streams that are not where, or not as, they should be; inputs that a result would replace."""

import json
import os
import resource
import shutil
import subprocess

from bad_files import GOOD, SAMPLES, npy
from bad_options import PROGRAMS
from harness import Case

RESULTS = ("motion.csv", "blocks.csv", "summary.json", "wall_echoes.npy", "measured_m_mode.png", "wall_m_mode.png",
           "frame_echoes.png", "motion.png", "failed_m_mode.png", "summary_failed.json")


def link(name, to, soft=False, folder=None):
    """Makes a link, in a folder of its own if asked for."""
    def make(place):
        where = place / folder if folder else place
        where.mkdir(exist_ok=True)
        if soft:
            os.symlink(os.path.relpath(place / to, where), where / name)
        else:
            os.link(place / to, where / name)
    return make


def both(*steps):
    return lambda place: [step(place) for step in steps] and None


def inputs():
    """A result would take the place of what the program reads."""
    for extra in ([], ["--no-wall-echoes"], ["--block", "1"], ["--no-pictures", "--no-wall-echoes", "--block", "0"]):
        yield Case("track_artery", f"wall_echoes.npy as recording {extra}", ["wall_echoes.npy", "--out", ".", *extra],
                   ("wall_echoes.npy", "is the input"),
                   setup=both(link("wall_echoes.npy", "good.npy"), link("wall_echoes.json", "good.json")))
    yield Case("track_artery", "summary.json as settings", ["good.npy", "--meta", "summary.json", "--out", "."],
               ("summary.json", "is the input"), setup=link("summary.json", "good.json"))
    yield Case("track_artery", "settings of a recording called summary", ["summary.npy", "--meta", "good.json", "--out", "."],
               ("summary.json", "is the input"),
               setup=both(link("summary.npy", "good.npy"), link("summary.json", "good.json")))
    yield Case("track_artery", "summary.json as --settings", ["good.npy", "--settings", "summary.json", "--out", "."],
               ("summary.json", "is the input"), files={"summary.json": b'{"format": 2, "options": {}}'})
    for name in RESULTS:
        for soft in (False, True):
            yield Case("track_artery", f"{'soft' if soft else 'hard'} link {name} to the recording",
                       ["good.npy", "--out", "there"], (name, "is the input good.npy"),
                       setup=link(name, "good.npy", soft, "there"))
    yield Case("track_artery", "soft link to the settings", ["good.npy", "--out", "there"], ("motion.csv", "is the input"),
               setup=link("motion.csv", "good.json", True, "there"))
    for out in (".", "./", "itself/.", "linked", "there/.."):
        def setup(place):
            link("motion.csv", "good.npy", folder=None)(place)
            os.symlink(".", place / "linked")
            (place / "there").mkdir()
            os.symlink("../" + place.name, place / "itself")
        yield Case("track_artery", f"the recording's folder as {out}", ["motion.csv", "--meta", "good.json", "--out", out],
                   ("is the input",), setup=setup)
    for name in ("dictionary.npy", "signals.npy", "./signals.npy"):
        yield Case("decompose_batch", f"--out {name}", ["dictionary.npy", "signals.npy", "--out", name], ("is the input",))
    for soft in (False, True):
        yield Case("decompose_batch", f"--out to a link, {soft}", ["dictionary.npy", "signals.npy", "--out", "o.csv"],
                   ("is the input",), setup=link("o.csv", "signals.npy", soft))
    # A recording that is not known to be made.
    yield Case("make_recording", "somebody's recording", ["mine.npy", "--seconds", "0.1"], ("no mine.truth.csv",),
               setup=both(link("mine.npy", "good.npy"), link("mine.json", "good.json")))
    yield Case("make_recording", "somebody's settings", ["mine.npy", "--seconds", "0.1"], ("no mine.truth.csv",),
               setup=link("mine.json", "good.json"))
    for lines in ("1", "8"):
        yield Case("make_recording", f"somebody's truth, {lines} lines", ["mine.npy", "--seconds", "0.1", "--lines", lines],
                   ("mine.truth_7.csv is there", "no mine.truth.csv"), setup=link("mine.truth_7.csv", "good.json"))
    yield Case("compare_methods", "details in place of the table", ["--out", ".", "--details", "comparison.md"],
               ("--details",))


def places():
    """Where results can't go."""
    def folder(name):
        return lambda place: (place / name).mkdir(parents=True)
    for name in RESULTS:
        yield Case("track_artery", f"a folder called {name}", ["good.npy", "--out", "there"],
                   (name, "not a regular file"), setup=folder(f"there/{name}"))
    yield Case("track_artery", "a device called motion.csv", ["good.npy", "--out", "there"], ("not a regular file",),
               setup=lambda place: ((place / "there").mkdir(), os.symlink("/dev/null", place / "there" / "motion.csv")))
    yield Case("track_artery", "a pipe called motion.csv", ["good.npy", "--out", "there"], ("not a regular file",),
               setup=lambda place: ((place / "there").mkdir(), os.mkfifo(place / "there" / "motion.csv")))
    for out, words in (("good.npy", "is not a folder"), ("good.npy/x", "can't be made"), ("/dev/null", "is not a folder"),
                       ("/proc/none/x", "can't be made"), ("n" * 300, "can't be made")):
        yield Case("track_artery", f"--out {out[:20]}", ["good.npy", "--out", out], (words,))
    yield Case("track_artery", "a recording that is a folder", ["x.npy"], ("not a regular file",), setup=folder("x.npy"))
    yield Case("track_artery", "a recording that is a pipe", ["x.npy"], ("not a regular file",),
               setup=lambda place: os.mkfifo(place / "x.npy"))
    yield Case("track_artery", "a recording that links to itself", ["x.npy"], ("x.npy: ",),
               setup=lambda place: os.symlink("x.npy", place / "x.npy"))
    yield Case("track_artery", "a recording that is a device", ["/dev/zero", "--meta", "good.json"], ("not a regular file",))
    yield Case("track_artery", "settings that are a folder", ["good.npy", "--meta", "there"], ("not a regular file",),
               setup=folder("there"))
    for out in ("/dev/null", "/dev/full", "there", ".", "none/../..", "good.npy/x.csv"):
        yield Case("decompose_batch", f"--out {out}", ["dictionary.npy", "signals.npy", "--out", out], (": ",),
                   setup=folder("there"))
    yield Case("make_recording", "no such folder", ["none/x.npy", "--seconds", "0.1"], ("folder does not exist",))
    yield Case("make_recording", "a folder of that name", ["x.npy", "--seconds", "0.1"], ("not a regular file",),
               setup=folder("x.npy"))
    yield Case("make_recording", "a folder called as the truth", ["x.npy", "--seconds", "0.1"], ("not a regular file",),
               setup=folder("x.truth.csv"))
    yield Case("make_recording", "a folder called as a line's truth", ["x.npy", "--seconds", "0.1", "--lines", "2"],
               ("not a regular file",), setup=folder("x.truth_2.csv"))
    for option, program in (("--columns", "limits_study"), ("--details", "wall_study"), ("--details", "compare_methods"),
                            ("--out", "compare_methods")):
        yield Case(program, f"{option} below a file", [option, "good.npy/x"], ("good.npy",))
    if os.geteuid() == 0:
        yield from for_nobody()


def for_nobody():
    """What a user who may not write or read finds; for a user who may do everything nothing is forbidden."""
    nobody = 65534

    def drop():
        os.setgid(nobody)
        os.setuid(nobody)
    yield Case("track_artery", "a folder that may not be written", ["good.npy", "--out", "there"],
               ("there: can't be written to",), limit=drop, setup=lambda place: (place / "there").mkdir())
    yield Case("track_artery", "a folder that may not be made", ["good.npy"], ("can't be made",), limit=drop)
    yield Case("track_artery", "a recording that may not be read", ["good.npy", "--out", "there"], ("can't be opened",),
               limit=drop, setup=lambda place: os.chmod(place / "good.npy", 0))
    yield Case("track_artery", "settings that may not be read", ["good.npy", "--out", "there"], ("can't be opened",),
               limit=drop, setup=lambda place: os.chmod(place / "good.json", 0))
    yield Case("make_recording", "a folder that may not be written", ["x.npy", "--seconds", "0.1"], ("can't be written to",),
               limit=drop)
    yield Case("decompose_batch", "a folder that may not be written", ["dictionary.npy", "signals.npy", "--out", "o.csv"],
               ("can't be written to",), limit=drop)
    yield Case("compare_with_truth", "a table that may not be read", ["good.truth.csv", "good.truth.csv"], (": ",), limit=drop,
               setup=lambda place: os.chmod(place / "good.truth.csv", 0))


def streams():
    """Standard output that is full or closed; standard input that is closed, empty or cut."""
    quick = {"track_artery": ["good.npy", "--out", "o", "--no-pictures"], "plan_measurement": [],
             "decompose_batch": ["dictionary.npy", "signals.npy"], "own_optimiser": [], "decompose_one_frame": [],
             "correlate_two_echoes": [], "resolve_two_layers": [], "make_recording": ["x.npy", "--seconds", "0.02"],
             "compare_with_truth": ["same.csv", "good.truth.csv"],
             "limits_study": ["--trials", "1", "--gates", "1"],
             "wall_study": ["--recordings", "0", "--without-artery", "0"]}
    for stdout in ("full", "closed"):
        for program in PROGRAMS:
            yield Case(program, f"--help, output {stdout}", ["--help"], ("standard output can't be written",), stdout=stdout)
        for program, arguments in quick.items():
            yield Case(program, f"output {stdout}", arguments, ("standard output can't be written",), stdout=stdout,
                       may_write=True, files={"same.csv": MOTION_OF_GOOD})
        for program in ("follow_stream", "follow_frames"):
            yield Case(program, f"output {stdout}", ["good.json", "--samples", str(SAMPLES)],
                       ("standard output can't be written",), stdout=stdout, stdin=FRAMES["good"])
    for program in ("follow_stream", "follow_frames"):
        arguments = ["good.json", "--samples", str(SAMPLES)]
        yield Case(program, "input closed", arguments, ("standard input can't be read",), closed_stdin=True)
        yield Case(program, "no frames", arguments, (), (2,))
        yield Case(program, "half a frame", arguments, (), (2,), stdin=b"half a frame")
        yield Case(program, "noise", arguments, (), (2,), stdin=os.urandom(2 * SAMPLES * 400))
        yield Case(program, "a float recording's bytes", arguments, (), (0, 2), stdin=b"\x00\x00\x80\x3f" * SAMPLES * 200)
        yield Case(program, "the last frame cut", arguments, ("cut short",), (0, 2), stdin=FRAMES["good"][:-7])
        yield Case(program, "a directory as input", arguments, (), (1, 2), stdin=b"")
    for program in ("track_artery", "make_recording"):
        yield Case(program, "input closed", quick[program], (), (0,), closed_stdin=True, may_write=True)


MOTION_OF_GOOD = b""  # filled in by the main program, of the template's recording
FRAMES = {}
PROGRAMS_FOLDER = []


def names():
    """Names of any bytes: a recording so called is followed, and its summary is valid JSON."""
    def valid_summary(out):
        def check(place, _):
            with open(os.path.join(os.fsencode(place), out, b"summary.json"), encoding="utf-8") as file:
                summary = json.load(file)
            return None if summary["frames"] == 300 else "the summary lacks its frames"
        return check
    for name in (b"b\xffd", b"\xc3\x28", "gr\u00fc\u00df".encode(), b"a b", b"a'b", b'a"b', b"a\nb", b"$(x);`y`", b"a\x1b[31m",
                 b"-x", b"a\\b", b"%s%n", b"n" * 240, b".hidden", "\U0001F600".encode(), b"a.b.c"):
        def setup(place, name=name):
            os.link(place / "good.npy", os.path.join(os.fsencode(place), name + b".npy"))
            os.link(place / "good.json", os.path.join(os.fsencode(place), name + b".json"))
        recording = b"./" + name + b".npy"
        out = name[:200] + b"_motion"
        yield Case("track_artery", f"name {name[:20]}", [recording, "--out", b"./" + out], ("valid",), (0, 2), setup=setup,
                   check=valid_summary(out))
        yield Case("track_artery", f"missing name {name[:20]}", [recording], ("there is no such file",))
        made = name[:200] + b".npy"
        yield Case("make_recording", f"name {name[:20]}",
                   [b"./" + made, "--seconds", "0.02", "--sampling-rate", "20e6", "--frame-rate", "100"], ("seed 1",), (0,),
                   check=lambda place, _, made=made: None
                   if os.path.exists(os.path.join(os.fsencode(place), made)) else "not written")


def kept():
    """What an earlier run has left stays when a run fails."""
    still = npy(f"(300, {SAMPLES})", data=bytes(2 * 300 * SAMPLES))
    # What an earlier failed run left goes when another one fails.
    old = {name: b"of an earlier run" for name in RESULTS if name not in ("summary_failed.json", "failed_m_mode.png")}

    def setup(place):
        (place / "o").mkdir()
        for name, content in old.items():
            (place / "o" / name).write_bytes(content)

    def failed_beside(place, _):
        with open(place / "o" / "summary_failed.json", encoding="utf-8") as file:
            return None if not json.load(file)["both_walls_followed"] else "a failed summary says that walls were followed"
    files = {"still.npy": still, "still.json": json.dumps(GOOD).encode()}
    for extra in ([], ["--block", "0.7"]):
        yield Case("track_artery", f"no artery, old results {extra}", ["still.npy", "--out", "o", *extra],
                   ("those of an earlier run", "summary_failed.json"), (2,), files=files, setup=setup, check=failed_beside)
        yield Case("track_artery", f"no artery, no old results {extra}", ["still.npy", "--out", "o", *extra], ("still.npy",),
                   (2,), files=files, check=lambda place, _: None
                   if not json.loads((place / "o" / "summary.json").read_text())["both_walls_followed"] else "walls in nothing")
    yield Case("track_artery", "refused, old results", ["still.npy", "--out", "o", "--near-range", "6", "7"],
               ("outside the recording",), files=files, setup=setup)

    def replaced(place, _):
        left = sorted(os.listdir(place / "o"))
        if left != ["motion.csv", "summary.json", "wall_echoes.npy"]:
            return f"the folder holds {left}"
        return None if b"earlier" not in (place / "o" / "motion.csv").read_bytes() else "an old file is left"
    yield Case("track_artery", "old results replaced", ["good.npy", "--out", "o", "--no-pictures"], ("valid",), (0,),
               setup=setup, check=replaced, may_write=True)
    # A disk that is full: a limit of the files' length, which a writer can't tell from it.
    for size in (0, 100, 5000, 30000, 60000):
        def limit(size=size):
            resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
        yield Case("track_artery", f"files of {size} bytes at most", ["good.npy", "--out", "o"], ("is the disk full?",),
                   setup=setup, limit=limit)
        yield Case("make_recording", f"files of {size} bytes at most", ["x.npy", "--seconds", "1", "--frame-rate", "100"],
                   ("is the disk full?",), limit=limit)
    yield Case("decompose_batch", "files of 10 bytes at most", ["dictionary.npy", "signals.npy", "--out", "o.csv"],
               ("is the disk full?",), limit=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (10, 10)))
    # Room for the tables, not for the pictures' data.
    if shutil.which("gnuplot"):
        yield Case("track_artery", "no room for pictures", ["good.npy", "--out", "o", "--no-wall-echoes"], ("the disk full?",),
                   setup=setup, limit=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (60000, 60000)))

    def drawn_by(script):
        def prepare(place):
            setup(place)
            (place / "bin").mkdir()
            if script:
                (place / "bin" / "gnuplot").write_text("#!/bin/sh\n" + script)
                (place / "bin" / "gnuplot").chmod(0o755)
        return prepare
    half = "for f in measured_m_mode wall_m_mode frame_echoes motion; do printf '\\211PNG\\r\\n\\032\\nhalf' > $f.png; done\n"
    for name, script, words in (("pictures cut off by a gnuplot content with itself", half, "did not write it whole"),
                                ("no pictures by a gnuplot content with itself", "exit 0\n", "did not write it whole"),
                                ("a gnuplot that fails", "exit 3\n", "gnuplot failed")):
        yield Case("track_artery", name, ["good.npy", "--out", "o"], (words,), setup=drawn_by(script), path="bin")
    yield Case("track_artery", "no gnuplot", ["good.npy", "--out", "o"], ("no pictures: gnuplot was not found",), (0,),
               setup=drawn_by(None), path="bin", may_write=True, check=replaced)


def same_meaning():
    """An option means the same whichever way the frames come, and a run is repeated by what its summary holds."""
    def depth(text, column):
        names, *rows = [row.split(",") for row in text.splitlines()]
        found = [float(row[column]) for row in rows if row[names.index("valid")] == "1"]
        return sum(found) / len(found) if found else float("nan")

    def moved_by(way, arguments, shift):
        """Runs with and without a delay of the pulse: all depths must differ by it."""
        def check(place, _):
            mean = []
            for delay in ("0", "4e-7"):
                text = way(place, [*arguments, "--pulse-delay", delay])
                mean.append(depth(text, 1))
            moved = mean[0] - mean[1]
            return None if abs(moved - shift) < 1e-6 else f"the depths moved by {moved} m, not {shift}"
        return check

    def whole(extra):
        def run(place, arguments):
            subprocess.run([PROGRAMS_FOLDER[0] / "track_artery", "good.npy", "--out", "o", "--no-pictures", *extra,
                            *arguments], cwd=place, check=False, capture_output=True)
            return (place / "o" / "motion.csv").read_text()
        return run

    def stream(place, arguments):
        return subprocess.run([PROGRAMS_FOLDER[0] / "follow_stream", "good.json", "--samples", str(SAMPLES), "--block", "1.2",
                               *arguments], cwd=place, check=False, capture_output=True, input=FRAMES["good"]).stdout.decode()
    def frames(place, arguments):
        return subprocess.run([PROGRAMS_FOLDER[0] / "follow_frames", "good.json", "--samples", str(SAMPLES), "--learn", "0.9",
                               *arguments], cwd=place, check=False, capture_output=True, input=FRAMES["good"]).stdout.decode()
    shift = 4e-7 * GOOD["sound_speed"] / 2
    for name, way in (("whole", whole(["--block", "0"])), ("in blocks", whole(["--block", "1.2"])), ("as a stream", stream),
                      ("frame by frame", frames)):
        yield Case("track_artery", f"--pulse-delay {name}", ["--version"], (), (0,), may_write=True,
                   check=moved_by(way, [], shift))

    def repeated(extra):
        def check(place, _):
            program = [PROGRAMS_FOLDER[0] / "track_artery", "good.npy", "--no-pictures"]
            for arguments in (["--out", "one", *extra], ["--out", "two", "--settings", "one/summary.json"]):
                subprocess.run([*program, *arguments], cwd=place, check=False, capture_output=True)
            texts = [(place / out / "motion.csv").read_bytes() for out in ("one", "two")]
            plain = subprocess.run([*program, "--out", "three"], cwd=place, check=False, capture_output=True)
            options = [json.loads((place / out / "summary.json").read_text())["options"] for out in ("one", "two")]
            if texts[0] != texts[1] or options[0] != options[1] or plain.returncode not in (0, 2):
                return "the run is not repeated"
            if texts[0] == (place / "three" / "motion.csv").read_bytes():
                return "the options made no difference: the check shows nothing"
            return None
        return check
    for extra in (["--near-range", "0.0085", "0.0111", "--layer", "inner", "--smoothing", "gaussian", "--smoothing-time", "7"],
                  ["--block", "1.1", "--smoothing", "average", "--smoothing-frames", "11", "--least-correlation", "0.35"],
                  ["--block", "0", "--dead-zone", "0.0023", "--far-start", "0.0172", "--atoms", "2", "--pulse-delay", "1e-7"],
                  ["--block", "1.3", "--pulse-delay", "3e-7"], ["--no-pulse-delay", "--layer", "inner"]):
        yield Case("track_artery", f"--settings repeats {extra}", ["--version"], (), (0,), may_write=True,
                   check=repeated(extra))


def all_cases():
    for cases in (inputs, places, streams, names, kept, same_meaning):
        yield from cases()
