"""Follows one artery in several lines, whose truth is known, and holds what is written against it, and against each other.

    python3 results_of_lines.py --programs DIR
"""

import argparse
import json
import math
import os
import pathlib
import random
import shutil
import struct
import sys
import tempfile

from results import (DEPTH_ERROR, FRAMES, NOTICE, Runs, Wrong, check_summary, check_walls, close, mean_of, picture_names,
                     require, summary_in, table, write_npy)

LINES = ["--seed", "4", "--seconds", "3", "--sampling-rate", "20e6", "--frame-rate", "250", "--lines", "3", "--line-spacing",
         "2e-3", "--line-tilt", "0.02", "--pulse-wave-velocity", "5"]
LINE_DELAY = 0.4e-3  # [s] from line to line: 2 mm at 5 m/s
FAR_OFF = 3.5  # deviations: of a normal error one in two thousand


def split_lines(runs):
    """rows.npy and its settings as a file of each line."""
    data = (runs.folder / "rows.npy").read_bytes()
    start = 10 + struct.unpack("<H", data[8:10])[0]
    settings = json.loads((runs.folder / "rows.json").read_text(encoding="utf-8"))
    positions = settings.pop("line_positions")
    size = (len(data) - start) // len(positions)
    for k, position in enumerate(positions):
        header = f"{{'descr': '<i2', 'fortran_order': False, 'shape': ({FRAMES}, {size // (2 * FRAMES)}), }}\n".encode()
        (runs.folder / f"row{k + 1}.npy").write_bytes(b"\x93NUMPY\x01\x00" + struct.pack("<H", len(header)) + header
                                                     + data[start + k * size:start + (k + 1) * size])
        (runs.folder / f"row{k + 1}.json").write_text(json.dumps({**settings, "line_positions": [position]}), encoding="utf-8")
    return ["row1.npy", "row2.npy", "row3.npy"]


def files_in(runs, folder):
    return sorted(path.name for path in (runs.folder / folder).iterdir())


def check_lines(runs, summary):
    """Each line's table against its truth, its delay against what was made, and what the artery is of them."""
    weights = [line["weight"] for line in summary["lines"]]
    require(summary["lines_followed"] == 3 and all(weight > 0 for weight in weights), f"the lines' weights are {weights}")
    close(sum(weights), 1, 1e-9, "the sum of the weights")
    require(summary["picture_line"] == 1 + weights.index(max(weights)), "the pictures are not of the weightiest line")
    mean_delay = 0
    for k, line in enumerate(summary["lines"]):
        truth = table(runs.folder / ("rows.truth.csv" if k == 0 else f"rows.truth_{k + 1}.csv"))
        motion = table(runs.folder / "rows" / f"motion_line_{k + 1}.csv")
        check_walls(motion, truth, "outer")
        require(line["line"] == k + 1 and line["motion"] == f"motion_line_{k + 1}.csv", f"line {k + 1} is called otherwise")
        require(line["left_out"] is None and line["status"] == "both walls followed", f"the status of line {k + 1}")
        close(line["position_m"], 2e-3 * k, 1e-12, f"the position of line {k + 1}")
        require(line["offset_m"] is None, "an offset that nobody gave")
        require(line["delay_std_s"] < LINE_DELAY, f"the delay of line {k + 1} is hardly known: {line['delay_std_s']} s")
        close(line["delay_s"], LINE_DELAY * (k - 1), FAR_OFF * line["delay_std_s"], f"the delay of line {k + 1}")
        mean_delay += line["delay_s"] / 3
        for wall in ("near", "far"):
            close(line[f"{wall}_wall"]["depth_m"], mean_of(motion, f"{wall}_wall_m"), DEPTH_ERROR, f"depth_m, line {k + 1}")
    close(mean_delay, 0, 1e-9, "the mean of the delays")
    placement = summary["placement"]
    close(placement["pulse_delay_per_metre_s"], 0.2, FAR_OFF * placement["pulse_delay_per_metre_std_s"], "the delay a metre")
    close(placement["local_pulse_wave_speed_m_s"] * placement["pulse_delay_per_metre_s"], 1, 1e-9, "the speed times the delay")
    low, high = placement["local_pulse_wave_speed_range_m_s"]
    require(low < placement["local_pulse_wave_speed_m_s"] < high, "the speed lies outside its range")
    for wall in ("near", "far"):
        close(placement[f"{wall}_tilt"], 0.02, FAR_OFF * placement[f"{wall}_tilt_std"], f"the tilt of the {wall} wall")
    for name in ("axis_offset_m", "axis_offset_std_m", "diameter_of_vessel_m", "diameter_of_vessel_std_m"):
        require(placement[name] is None, f"{name} is known without offsets")


def check_artery(runs, motion, summary):
    """The artery is the lines' weighted mean, and surer than any of them."""
    check_summary(summary, motion)
    lines = [table(runs.folder / "rows" / f"motion_line_{k}.csv") for k in (1, 2, 3)]
    weights = [line["weight"] for line in summary["lines"]]
    valid = [k for k in range(FRAMES) if motion["valid"][k] == 1 and all(line["valid"][k] == 1 for line in lines)]
    require(len(valid) > 0.95 * FRAMES, f"only {len(valid)} frames are valid in all lines")
    for frame in valid[::50]:
        mean_diameter = sum(w * line["diameter_m"][frame] for w, line in zip(weights, lines))
        close(motion["diameter_m"][frame], mean_diameter, 0.1e-6, f"the diameter of frame {frame}")  # rounded, and each line's mean
        least = min(line["diameter_std_m"][frame] for line in lines)
        require(0 < motion["diameter_std_m"][frame] < least, f"frame {frame} of the artery is no surer than the best line")


def track_lines(runs):
    """Three lines, in one file and in three; what an earlier run left goes, and what is somebody else's stays."""
    runs.run("make_recording", "rows.npy", *LINES)
    said = runs.run("track_artery", "rows.npy", "--out", "rows", "--no-pictures")
    summary = summary_in(runs, "rows")
    motion = table(runs.folder / "rows" / "motion.csv")
    check_lines(runs, summary)
    check_artery(runs, motion, summary)
    for words in ("3 of 3 lines followed", "Line 2: near wall at", "local pulse wave speed", NOTICE):
        require(words in said, f"the console does not say '{words}': {said}")
    tables = ["motion.csv", "motion_line_1.csv", "motion_line_2.csv", "motion_line_3.csv"]
    require(files_in(runs, "rows") == [*tables, "summary.json", "wall_echoes.npy"], f"there are {files_in(runs, 'rows')}")
    files = split_lines(runs)
    runs.run("track_artery", *files, "--out", "of_files", "--no-pictures", "--threads", "2")
    for name in (*tables, "wall_echoes.npy"):
        require((runs.folder / "rows" / name).read_bytes() == (runs.folder / "of_files" / name).read_bytes(),
                f"{name} of three files differs from that of one")
    require(summary_in(runs, "of_files")["recording"] == files, "the summary does not name the files")
    settings = json.loads((runs.folder / "rows.json").read_text(encoding="utf-8"))
    (runs.folder / "rows.json").write_text(json.dumps({**settings, "line_offsets": [-1e-3, 0, 1e-3]}), encoding="utf-8")
    runs.run("track_artery", "rows.npy", "--out", "again", "--no-pictures", "--settings", "rows/summary.json")
    require((runs.folder / "again" / "motion.csv").read_bytes() == (runs.folder / "rows" / "motion.csv").read_bytes(),
            "--settings of the summary gives other bytes")
    across = summary_in(runs, "again")["placement"]  # three chords alike: the axis is under the middle one
    close(across["axis_offset_m"], 0, FAR_OFF * across["axis_offset_std_m"], "the offset of the axis")
    chord = summary["diameter_mean_m"]
    require(chord < across["diameter_of_vessel_m"] < math.hypot(chord, 2e-3), "the vessel's diameter, of chords 1 mm apart")
    shutil.copy(runs.folder / "rows" / "motion.csv", runs.folder / "rows" / "motion_line_9.csv")
    (runs.folder / "rows" / "motion_line_8.csv").write_text("time_s,somebody\n0,1\n", encoding="utf-8")
    runs.run("track_artery", *files[:2], "--out", "rows", "--no-pictures", "--no-wall-echoes")
    require(files_in(runs, "rows") == [*tables[:3], "motion_line_8.csv", "summary.json"], f"left are {files_in(runs, 'rows')}")
    runs.run("track_artery", "row1.npy", "--out", "rows", "--no-pictures", "--no-wall-echoes")
    require(files_in(runs, "rows") == ["motion.csv", "motion_line_8.csv", "summary.json"], f"one line left {files_in(runs, 'rows')}")
    require("lines" not in summary_in(runs, "rows") and "near_wall" in summary_in(runs, "rows"), "one line's summary is of several")


def draw_lines(runs):
    """The picture of lines, with one that holds no artery; and the picture of why none was found."""
    if shutil.which("gnuplot") is None:
        return
    noise = random.Random(2)
    samples = struct.unpack("<H", (runs.folder / "row1.npy").read_bytes()[8:10])[0]
    columns = ((runs.folder / "row1.npy").stat().st_size - 10 - samples) // (2 * FRAMES)
    for name in ("still1", "still2"):
        write_npy(runs.folder / f"{name}.npy", [[noise.gauss(0, 100) for _ in range(columns)] for _ in range(FRAMES)])
    text = (runs.folder / "row1.json").read_text(encoding="utf-8")
    for name in ("row1", "row2", "still1", "still2"):
        settings = {key: value for key, value in json.loads(text).items() if key != "line_positions"}
        (runs.folder / f"{name}.json").write_text(json.dumps(settings), encoding="utf-8")
    spy = runs.folder / "spy"  # keeps the scripts that gnuplot is given
    scripts = spy / "scripts"
    spy.mkdir()
    (spy / "gnuplot").write_text(f'#!/bin/sh\ncat "$1" >> "{scripts}"\nexec {shutil.which("gnuplot")} "$@"\n')
    (spy / "gnuplot").chmod(0o755)
    runs.environment["PATH"] = f"{spy}:{os.environ['PATH']}"
    said = runs.run("track_artery", "row1.npy", "still1.npy", "row2.npy", "--out", "mixed")
    summary = summary_in(runs, "mixed")
    require("lines.png" in picture_names(runs, "mixed", summary), "lines.png is not among the pictures")
    last = scripts.read_text(encoding="utf-8").split(f"caution = '{NOTICE}'")[-1]
    require("set output 'lines.png'" in last and "Left out: line 2" in last, "lines.png has no caution, or does not name line 2")
    require("Line 2 is left out" in said and summary["lines"][1]["left_out"], "the line without an artery is not named")
    require(summary["lines"][1]["weight"] == 0 and summary["lines"][1]["delay_s"] is None, "the line without an artery counts")
    require("motion_line_2.csv" not in files_in(runs, "mixed") and summary["lines"][1]["motion"] is None, "a table of nothing")
    require(summary["placement"]["near_tilt"] is None and summary["lines"][0]["position_m"] is None, "places that nobody gave")
    require(summary["lines"][2]["delay_s"] is not None, "delays take no positions")
    runs.run("track_artery", "still1.npy", "still2.npy", "--out", "still", status=2)
    require(files_in(runs, "still") == ["failed_m_mode.png", "summary.json"], f"without an artery: {files_in(runs, 'still')}")
    require(summary_in(runs, "still")["lines_followed"] == 0, "lines are followed without an artery")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--programs", type=pathlib.Path, required=True)
    programs = parser.parse_args().programs.resolve()
    with tempfile.TemporaryDirectory() as folder:
        runs = Runs(programs, pathlib.Path(folder))
        track_lines(runs)
        draw_lines(runs)
    print("all results of lines are as they must be")


if __name__ == "__main__":
    try:
        main()
    except Wrong as wrong:
        sys.exit(f"results_of_lines.py: {wrong}")
