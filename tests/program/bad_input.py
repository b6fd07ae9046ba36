"""Runs all programs on hundreds of inputs that they must refuse or survive, and prints what came of it.

    python3 bad_input.py --programs DIR [--programs DIR OF STUDIES] [--threads N] [--only WORD] [--patience N] [--list]

Status 1 if any of them crashed, hung, lost or left a file, or said nothing that helps. No packages are needed.
"""

import argparse
import os
import pathlib
import struct
import subprocess
import sys

import bad_files
import bad_options
import bad_places
import harness

FEWEST = 400  # cases
STUDIES = ("compare_methods", "limits_study", "wall_study")


def write_matrices(folder):
    """A dictionary of 8 atoms and 5 signals of 16 samples."""
    for name, rows in (("dictionary", 8), ("signals", 5)):
        values = [((7 * i + 3 * k) % 11) - 5 + (12 if i == k else 0) for i in range(rows) for k in range(16)]
        data = struct.pack(f"<{len(values)}h", *values)
        (folder / f"{name}.npy").write_bytes(harness.npy(f"({rows}, 16)", data=data))


def make_template(programs, folder):
    """What every case finds: a small recording with an artery, its truth, and matrices."""
    folder.mkdir()
    subprocess.run([programs / "make_recording", "good.npy", "--seed", "2", "--sampling-rate", "20e6", "--frame-rate", "200",
                    "--seconds", "1.5"], cwd=folder, check=True, stdout=subprocess.DEVNULL)
    write_matrices(folder)
    samples = (folder / "good.npy").read_bytes()
    bad_places.FRAMES["good"] = samples[-2 * 300 * bad_files.SAMPLES:]
    rows = (folder / "good.truth.csv").read_text().splitlines()[1:]
    lines = ["time_s,near_wall_m,near_wall_std_m,far_wall_m,far_wall_std_m,diameter_m,valid,quality,diameter_std_m"]
    for row in rows:
        time, _, near, _, far, _ = row.split(",")
        lines.append(f"{time},{near},0.000001,{far},0.000001,{float(far) - float(near):.9f},1,0.9,0.000002")
    bad_places.MOTION_OF_GOOD = ("\n".join(lines) + "\n").encode()


def main():
    parser = argparse.ArgumentParser(description="Runs the programs on bad input.")
    parser.add_argument("--programs", type=pathlib.Path, action="append", required=True,
                        help="of the example programs; then that of the studies, which are left out without it")
    parser.add_argument("--threads", type=int, default=os.cpu_count())
    parser.add_argument("--only", default="", help="only cases whose program or name holds this")
    parser.add_argument("--patience", type=int, default=1, help="times ten seconds a run: for programs that are checked")
    parser.add_argument("--list", action="store_true", help="print the cases")
    arguments = parser.parse_args()
    folders = [folder.resolve() for folder in arguments.programs]
    programs = folders[0]
    with harness.scratch_folder() as scratch:
        scratch = pathlib.Path(scratch)
        template = scratch / "template"
        make_template(programs, template)
        bad_places.PROGRAMS_FOLDER.append(programs)
        cases = [case for module in (bad_files, bad_options, bad_places) for case in module.all_cases()]
        if len(folders) == 1:
            print(f"no folder of the studies: left out are {', '.join(STUDIES)}")
            cases = [case for case in cases if case.program not in STUDIES]
        cases = [case for case in cases if arguments.only in f"{case.program} {case.name}"]
        if arguments.list:
            for case in cases:
                print(f"{case.program}: {case.name}")
        runs = harness.Harness(folders, template, scratch, arguments.patience)
        runs.run_all(cases, arguments.threads)
        good = runs.report()
    if not arguments.only and len(cases) < FEWEST:
        print(f"only {len(cases)} cases, there must be {FEWEST}")
        good = False
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
