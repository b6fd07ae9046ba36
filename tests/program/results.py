"""Runs the programs on a small recording whose truth is known, and holds what they write against it.

Depths, distension and figures are recomputed here from the tables, so that a column, a unit or an option that goes
astray between the library and a file is seen.
"""

import argparse
import csv
import json
import math
import os
import pathlib
import random
import re
import shutil
import struct
import subprocess
import sys
import tempfile

RECORDING = ["--seed", "4", "--seconds", "3", "--sampling-rate", "20e6", "--frame-rate", "250", "--dropped", "0.02"]
FRAMES = 750  # of this seed both layers of both walls give echoes that are followed
SOUND_SPEED = 1540.0  # [m/s], of make_recording
DEPTH_ERROR = 0.15e-3  # [m], of the pulse's delay, which is estimated: 0.07e-3 was measured
DISTENSION_ERROR = 8e-6  # rms [m]; 3.2e-6 was measured, in blocks
FORMATTED = 1.5e-9  # [m]: tables hold nine decimals


class Wrong(Exception):
    """What a program wrote is not what it must be."""


def require(condition, text):
    if not condition:
        raise Wrong(text)


def close(value, expected, tolerance, what):
    require(abs(value - expected) <= tolerance, f"{what} is {value!r}, must be {expected!r} within {tolerance!r}")


def mean(values):
    return sum(values) / len(values)


def deviation(values):
    middle = mean(values)
    return math.sqrt(mean([(value - middle) ** 2 for value in values]))


def known(motion):
    """The frames that have depths."""
    return [k for k, value in enumerate(motion["diameter_m"]) if math.isfinite(value)]


def mean_of(motion, column):
    return mean([motion[column][k] for k in known(motion)])


def table(file):
    """Column -> its numbers, or texts."""
    with open(file, newline="", encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    def number(text):
        try:
            return float(text)
        except ValueError:
            return text
    return {name: [number(row[name]) for row in rows] for name in rows[0]}


def write_npy(file, rows):
    header = f"{{'descr': '<f4', 'fortran_order': False, 'shape': ({len(rows)}, {len(rows[0])}), }}\n".encode()
    data = b"".join(struct.pack(f"<{len(row)}f", *row) for row in rows)
    file.write_bytes(b"\x93NUMPY\x01\x00" + struct.pack("<H", len(header)) + header + data)


def read_npy(file):
    """Rows of a file of 32-bit floats."""
    data = file.read_bytes()
    start = 10 + struct.unpack("<H", data[8:10])[0]
    found = re.search(rb"'<f4'.*\((\d+), (\d+)\)", data[:start])
    require(found is not None, f"{file.name} holds no rows of floats")
    rows, columns = int(found[1]), int(found[2])
    require(len(data) == start + 4 * rows * columns, f"{file.name} has {len(data)} bytes")
    return [struct.unpack_from(f"<{columns}f", data, start + 4 * columns * k) for k in range(rows)]


class Runs:
    def __init__(self, programs, folder):
        self.programs = programs
        self.folder = folder
        self.environment = dict(os.environ)

    def run(self, program, *arguments, status=0):
        done = subprocess.run([self.programs / program, *map(str, arguments)], cwd=self.folder, capture_output=True, text=True,
                              timeout=600, env=self.environment)
        require(done.returncode == status, f"{program} {' '.join(map(str, arguments))}: status {done.returncode}, {done.stderr}")
        return done.stdout

    def track(self, out, *options):
        """Motion and summary of a run."""
        self.run("track_artery", "rec.npy", "--out", out, "--no-pictures", *options)
        motion = table(self.folder / out / "motion.csv")
        require(len(motion["time_s"]) == FRAMES, f"{out}: {len(motion['time_s'])} frames")
        return motion, json.loads((self.folder / out / "summary.json").read_text(encoding="utf-8"))


def check_walls(motion, truth, layer):
    """Depths and their motion, against a layer's."""
    frames = known(motion)
    near, far = ([truth[f"{wall}_{layer}_m"][k] for k in frames] for wall in ("near", "far"))
    diameter = [f - n for n, f in zip(near, far)]
    close(mean_of(motion, "near_wall_m"), mean(near), DEPTH_ERROR, f"mean depth of the near wall, {layer} layer,")
    close(mean_of(motion, "far_wall_m"), mean(far), DEPTH_ERROR, f"mean depth of the far wall, {layer} layer,")
    errors = [motion["diameter_m"][k] - true for k, true in zip(frames, diameter)]
    require(deviation(errors) < DISTENSION_ERROR, f"the distension errs by {deviation(errors)} m")
    require(deviation(diameter) > 5 * DISTENSION_ERROR, "the recording has too little motion to tell")


def check_table(motion, truth):
    dropped = truth["dropped"]
    require(0 < sum(dropped) < 0.05 * FRAMES, "the recording must have some dropped frames")
    for k, time in enumerate(truth["time_s"]):
        close(motion["time_s"][k], time, 1e-6, f"the time of frame {k}")
        require(motion["valid"][k] in ((0,) if dropped[k] else (0, 1)), f"valid of frame {k} is {motion['valid'][k]}")
        require(0 <= motion["quality"][k] <= 1, f"the quality of frame {k} is {motion['quality'][k]}")
    require(sum(motion["valid"]) > 0.97 * (FRAMES - sum(dropped)), f"only {sum(motion['valid'])} frames are valid")
    for k in known(motion):
        close(motion["diameter_m"][k], motion["far_wall_m"][k] - motion["near_wall_m"][k], FORMATTED,
              f"the diameter of frame {k}")
        for column in ("near_wall_std_m", "far_wall_std_m", "diameter_std_m"):
            require(motion["valid"][k] == 0 or 0 < motion[column][k] < 20e-6, f"{column} of frame {k} is no deviation of a frame")


def check_summary(summary, motion):
    valid = [d for d, v in zip(motion["diameter_m"], motion["valid"]) if v == 1]
    require(summary["both_walls_followed"] is True and summary["frames"] == FRAMES, "the summary's frames, or status")
    require(summary["valid_frames"] == len(valid), f"valid frames are {summary['valid_frames']}, of the table {len(valid)}")
    close(summary["diameter_mean_m"], mean(valid), FORMATTED, "diameter_mean_m")
    close(summary["diameter_smallest_m"], min(valid), FORMATTED, "diameter_smallest_m")
    close(summary["diameter_largest_m"], max(valid), FORMATTED, "diameter_largest_m")
    require("not a medical device" in summary["notice"], "the notice is missing")


def track_whole(runs, truth):
    motion, summary = runs.track("whole")
    check_table(motion, truth)
    check_walls(motion, truth, "outer")
    check_summary(summary, motion)
    for wall in ("near", "far"):
        said = summary[f"{wall}_wall"]
        require(0 < said["gain_std"] < 0.2 and said["noise_std_m"] > 0 and said["model_std_m"] > 0,
                f"the deviation's parts of the {wall} wall")
        require(said["separable"] is (said["separability_rad"] >= 0.4) and said["limited_by"], f"what limits the {wall} wall")
        close(summary[f"{wall}_wall"]["depth_m"], mean_of(motion, f"{wall}_wall_m"), DEPTH_ERROR, f"depth_m of the {wall} wall")
    echoes = read_npy(runs.folder / "whole" / "wall_echoes.npy")
    settings = json.loads((runs.folder / "rec.json").read_text(encoding="utf-8"))
    require(len(echoes) == FRAMES, f"wall_echoes.npy has {len(echoes)} rows")
    energy = [x * x for x in echoes[100]]
    around = 0.0
    for wall in ("near", "far"):
        time = 2 * motion[f"{wall}_wall_m"][100] / SOUND_SPEED - settings.get("start_time", 0)
        place = round(time * settings["sampling_rate"])
        reach = round(2e-6 * settings["sampling_rate"])  # an echo of some 1 us, its wall's other layer, the pulse's delay
        here = sum(energy[max(0, place - reach):place + reach])
        require(here > 0.02 * sum(energy), f"no echo at the {wall} wall in wall_echoes.npy")
        around += here
    require(around > 0.95 * sum(energy), "wall_echoes.npy holds more than the walls")
    return motion


def track_inner_layer(runs, truth):
    motion, _ = runs.track("inner", "--layer", "inner", "--no-wall-echoes")
    require(not (runs.folder / "inner" / "wall_echoes.npy").exists(), "--no-wall-echoes is not heeded")
    check_walls(motion, truth, "inner")


def track_smoothed(runs, motion):
    """A longer average leaves less of what changes from frame to frame."""
    def rough(values):
        return deviation([a - 2 * b + c for a, b, c in zip(values, values[1:], values[2:])])
    before = rough([motion["diameter_m"][k] for k in known(motion)])
    for options in (["average", "--smoothing-frames", "9"], ["gaussian", "--smoothing-time", "12"]):
        smooth, _ = runs.track("smooth", "--no-wall-echoes", "--smoothing", *options)
        after = rough([smooth["diameter_m"][k] for k in known(smooth)])
        require(after < 0.5 * before, f"smoothing {options} leaves {after} m of {before} m")


def track_with_delay(runs):
    """A delay of the pulse is taken off every depth, at half the speed of sound."""
    delay = 0.4e-6
    early, _ = runs.track("early", "--no-wall-echoes", "--pulse-delay", "0")
    late, summary = runs.track("late", "--no-wall-echoes", "--pulse-delay", delay)
    for wall in ("near_wall_m", "far_wall_m"):
        close(mean_of(early, wall) - mean_of(late, wall), delay * SOUND_SPEED / 2, 1e-8, f"what --pulse-delay takes off {wall}")
    close(summary["pulse_delay"]["delay_s"], delay, 1e-15, "delay_s")


def track_in_blocks(runs, truth):
    motion, summary = runs.track("blocks", "--block", "2")
    check_table(motion, truth)
    check_walls(motion, truth, "outer")
    check_summary(summary, motion)
    blocks = table(runs.folder / "blocks" / "blocks.csv")
    require(summary["blocks"] == len(blocks["start_s"]) == 2, f"{summary['blocks']} blocks of 2 s in 3 s, half overlapping")
    require(summary["blocks_with_walls"] == 2 and summary["broken_seams"] == 0, "the summary's blocks with walls, or seams")
    require(summary["blocks_acquired"] == blocks["origin"].count("acquired"), "the summary's blocks_acquired")
    require(blocks["seam"] == ["none", "matched"], f"the seams are {blocks['seam']}")
    for k, start in enumerate((0, 1)):
        close(blocks["start_s"][k], start, 1e-6, f"the start of block {k}")
        close(blocks["end_s"][k], start + 2 - 1 / 250, 1e-6, f"the end of block {k}")
    for wall in ("near", "far"):
        for depth in blocks[f"{wall}_depth_m"]:
            close(depth, mean(truth[f"{wall}_outer_m"]), DEPTH_ERROR + 0.2e-3, f"{wall}_depth_m of a block")


NOTICE = "Research use: not a medical device, not for diagnosis."


def picture_names(runs, folder, summary):
    """What the summary says was drawn: whole PNG files, and no others."""
    here = runs.folder / folder
    for name in summary["pictures"]:
        data = (here / name).read_bytes()
        require(data[:8] == b"\x89PNG\r\n\x1a\n" and data[-8:-4] == b"IEND", f"{folder}/{name} is no whole PNG file")
    require(sorted(path.name for path in here.glob("*.png")) == sorted(summary["pictures"]), f"pictures in {folder}")
    return summary["pictures"]


def summary_in(runs, folder, name="summary.json"):
    return json.loads((runs.folder / folder / name).read_text(encoding="utf-8"))


def draw(runs):
    """Pictures of a whole, of blocks, and of a recording without an artery; each script writes the caution."""
    if shutil.which("gnuplot") is None:
        return
    spy = runs.folder / "spy"  # keeps the scripts that gnuplot is given
    spy.mkdir()
    (spy / "gnuplot").write_text(f'#!/bin/sh\ncat "$1" >> "{spy}/scripts"\nexec {shutil.which("gnuplot")} "$@"\n')
    (spy / "gnuplot").chmod(0o755)
    runs.environment["PATH"] = f"{spy}:{os.environ['PATH']}"
    def script():
        text = (spy / "scripts").read_text(encoding="utf-8")
        (spy / "scripts").unlink()
        outputs = text.count("set output '")
        require(text.count(f"caution = '{NOTICE}'") >= 1 and "set label 1 caution" in text and outputs > 0, "no caution is drawn")
        return text
    said = runs.run("track_artery", "rec.npy", "--out", "drawn", "--layer", "inner")
    require("Diameter (inner layer to inner layer: the lumen)" in said, f"the console does not say which diameter: {said}")
    summary = summary_in(runs, "drawn")
    require(len(picture_names(runs, "drawn", summary)) == 4, f"pictures are {summary['pictures']}")
    require("lumen" in summary["diameter_from"], "the summary does not say which diameter")
    require("lumen" in script() and summary["less_sure_wall"] in (None, "near", "far"), "the picture does not say which diameter")
    runs.run("track_artery", "rec.npy", "--out", "drawn", "--block", "2")
    require(picture_names(runs, "drawn", summary_in(runs, "drawn")) == ["measured_m_mode.png", "motion.png"], "pictures of blocks")
    require("outer layer to outer layer" in script(), "the picture of blocks does not say which diameter")
    before = {path.name: path.read_bytes() for path in (runs.folder / "drawn").iterdir()}
    noise = random.Random(1)
    write_npy(runs.folder / "noise.npy", [[noise.gauss(0, 1) for _ in range(450)] for _ in range(500)])
    (runs.folder / "noise.json").write_text((runs.folder / "rec.json").read_text(encoding="utf-8"), encoding="utf-8")
    for options, folder, mark in (([], "none", "summary.json"), (["--block", "1.5"], "none", "summary.json"),
                                  ([], "drawn", "summary_failed.json")):
        runs.run("track_artery", "noise.npy", "--out", folder, *options, status=2)
        require(summary_in(runs, folder, mark)["pictures"] == ["failed_m_mode.png"], f"picture of a failed run in {folder}")
        require("No artery found" in script(), "the picture of a failed run does not say so")
    picture_names(runs, "none", summary_in(runs, "none"))
    for name, data in before.items():
        require((runs.folder / "drawn" / name).read_bytes() == data, f"a failed run changed the earlier {name}")
    runs.run("track_artery", "noise.npy", "--out", "drawn", "--no-pictures", status=2)
    require(not (runs.folder / "drawn" / "failed_m_mode.png").exists(), "an earlier failed run's picture is left")


def compare(runs, motion, truth):
    """What compare_with_truth prints, computed here."""
    said = runs.run("compare_with_truth", "whole/motion.csv", "rec.truth.csv")
    kept = [k for k, dropped in enumerate(truth["dropped"]) if not dropped]
    def rms(column, layers):
        return min(deviation([motion[column][k] - layer[k] for k in kept]) for layer in layers)
    layers = {wall: [truth[f"{wall}_inner_m"], truth[f"{wall}_outer_m"]] for wall in ("near", "far")}
    layers["diameter"] = [[f - n for n, f in zip(*pair)] for pair in zip(layers["near"], layers["far"])]
    numbers = re.search(r"near wall ([\d.]+) um, far wall ([\d.]+) um, distension ([\d.]+) um", said)
    require(numbers is not None, f"compare_with_truth says {said}")
    for text, (column, name) in zip(numbers.groups(), (("near_wall_m", "near"), ("far_wall_m", "far"),
                                                      ("diameter_m", "diameter"))):
        close(float(text), 1e6 * rms(column, layers[name]), 0.011, f"the rms error of {column}")
    depths = re.search(r"near wall ([+-][\d.]+) mm, far wall ([+-][\d.]+) mm", said)
    for text, wall in zip(depths.groups(), ("near", "far")):
        offset = mean([motion[f"{wall}_wall_m"][k] - truth[f"{wall}_outer_m"][k] for k in kept])
        close(float(text), 1e3 * offset, 0.0011, f"the depth of the {wall} wall")
    require(f"valid: {sum(motion['valid'][k] == 1 for k in kept)} of {len(kept)} frames" in said, "the count of valid frames")


def decompose(runs):
    """Signals made of orthogonal atoms, strongest first; an atom's own norm does not count."""
    atoms = [[0.0] * 16 for _ in range(8)]
    for k, atom in enumerate(atoms):
        atom[2 * k], atom[2 * k + 1] = 3.0 * (k + 1), 4.0 * (k + 1)
    def signal(parts):
        return [sum(value * atoms[k][n] / (5 * (k + 1)) for k, value in parts) for n in range(16)]
    wanted = [[(5, 4.0), (2, -2.0)], [(0, -1.5), (7, 0.5)], [(3, 1.0), (4, 0.25)]]
    write_npy(runs.folder / "atoms.npy", atoms)
    write_npy(runs.folder / "signals.npy", [signal(parts) for parts in wanted])
    runs.run("decompose_batch", "atoms.npy", "signals.npy", "--atoms", "2", "--out", "table.csv")
    found = table(runs.folder / "table.csv")
    expected = [(t, order, k, value) for t, parts in enumerate(wanted) for order, (k, value) in enumerate(parts)]
    require(len(found["signal"]) == len(expected), f"the table has {len(found['signal'])} rows, not {len(expected)}")
    for row, (t, order, k, value) in enumerate(expected):
        got = tuple(found[column][row] for column in ("signal", "order", "atom"))
        require(got == (t, order, k), f"row {row} is of {got}, must be of {(t, order, k)}")
        close(found["coefficient"][row], value, 1e-6, f"the coefficient of row {row}")  # 32-bit input


def make_lines(runs):
    """Lines in one file: the first is the recording of one line; the others lie deeper, with a truth of their own."""
    options = ["--seed", "4", "--seconds", "0.5", "--sampling-rate", "20e6", "--frame-rate", "250"]
    runs.run("make_recording", "line.npy", *options)
    runs.run("make_recording", "lines.npy", *options, "--lines", "3", "--line-spacing", "2e-3", "--line-tilt", "0.05",
             "--pulse-wave-velocity", "5")
    def samples(name):
        data = (runs.folder / name).read_bytes()
        start = 10 + struct.unpack("<H", data[8:10])[0]
        return data[:start], data[start:]
    header, one = samples("line.npy")
    of_three, three = samples("lines.npy")
    frames, columns = map(int, re.search(rb"\((\d+), (\d+)\)", header).groups())
    require(f"'shape': (3, {frames}, {columns}), ".encode() in of_three, f"the lines' header is {of_three}")
    require(len(three) == 3 * len(one), f"three lines have {len(three)} bytes, one {len(one)}")
    require(three[:len(one)] == one, "the first line is not the recording of one line")
    require(three[len(one):2 * len(one)] != one, "the second line is the first one")
    settings = json.loads((runs.folder / "lines.json").read_text(encoding="utf-8"))
    require(settings.pop("line_positions") == [0, 2e-3, 4e-3], "the lines' positions are others")
    require(settings == json.loads((runs.folder / "line.json").read_text(encoding="utf-8")), "the lines' settings differ")
    require((runs.folder / "lines.truth.csv").read_bytes() == (runs.folder / "line.truth.csv").read_bytes(),
            "the first line's truth differs")
    first = table(runs.folder / "lines.truth.csv")
    for number, deeper in ((2, 0.1e-3), (3, 0.2e-3)):
        truth = table(runs.folder / f"lines.truth_{number}.csv")
        # The pulse comes 0.4 ms later from line to line: a twentieth of a frame moves a wall by a micrometre or so.
        close(mean(truth["far_outer_m"]) - mean(first["far_outer_m"]), deeper, 3e-6, f"the depth of line {number}")
    runs.run("make_recording", "lines.npy", *options)
    left = sorted(file.name for file in runs.folder.glob("lines.*"))
    require(left == ["lines.beats.csv", "lines.json", "lines.npy", "lines.truth.csv"], f"of three lines there is left: {left}")
    require((runs.folder / "lines.npy").read_bytes() == header + one, "one line in the place of three differs")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--programs", type=pathlib.Path, required=True)
    programs = parser.parse_args().programs.resolve()
    with tempfile.TemporaryDirectory() as folder:
        runs = Runs(programs, pathlib.Path(folder))
        runs.run("make_recording", "rec.npy", *RECORDING)
        truth = table(runs.folder / "rec.truth.csv")
        failures = 0
        motion = track_whole(runs, truth)
        for check, arguments in ((track_inner_layer, [truth]), (track_smoothed, [motion]), (track_with_delay, []),
                                 (track_in_blocks, [truth]), (draw, []), (compare, [motion, truth]), (decompose, []), (make_lines, [])):
            try:
                check(runs, *arguments)
            except Wrong as wrong:
                print(f"{check.__name__}: {wrong}")
                failures += 1
    print(f"{failures} of 8 checks failed" if failures else "all results are as they must be")
    return 1 if failures else 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except Wrong as wrong:
        sys.exit(f"results.py: {wrong}")
