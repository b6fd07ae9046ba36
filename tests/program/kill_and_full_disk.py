"""Kills programs at random times, and lets the disk run full at many sizes: what is left must be the earlier results, whole,
or the new ones, whole, or none; and the next run must find its way.

    python3 kill_and_full_disk.py --programs DIR [--kills 100] [--disks 40] [--seed 1]

A full disk is a small tmpfs, mounted as root, filled up to so many free bytes; where nothing can be mounted, a limit of the
files' length. Status 1 if anything partial could be taken for whole, or is left by what was told to end.
"""

import argparse
import json
import os
import pathlib
import random
import resource
import shutil
import signal
import subprocess
import sys
import time

import harness

MOST = 8  # the largest disk, over what the results need
SIGNALS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT)


class Work:
    """A program with its arguments, the folder it writes to, and the file that says that its results are whole."""

    def __init__(self, name, command, folder, mark):
        self.name, self.command, self.folder, self.mark = name, command, folder, mark
        self.old = None  # contents of an earlier run's results
        self.new = None  # and of this one's
        self.seconds = 0.0


def contents(folder):
    """Name -> bytes of all files, but what a run's summary says of its own time."""
    found = {}
    for path in sorted(folder.rglob("*")) if folder.exists() else []:
        if path.is_file():
            data = path.read_bytes()
            if path.name == "summary.json":
                summary = json.loads(data)
                summary.pop("tracking_seconds")
                data = json.dumps(summary).encode()
            found[path.relative_to(folder).as_posix()] = data
    return found


def visible(found):
    return {name: data for name, data in found.items() if not name.startswith(".")}


def judge(work, folder):
    """Whose results stand in the folder: old, new, none, or what is wrong with them."""
    shown = visible(contents(folder))
    if shown == work.new:
        return "new"
    if shown == work.old:
        return "old"
    if work.mark in shown:
        differing = [name for name in sorted({*shown, *work.new}) if shown.get(name) != work.new.get(name)]
        return f"WRONG: taken for whole, but neither the old nor the new ones: {differing}"
    return "none"


def put_old(work, folder):
    """An earlier run's results."""
    if folder.exists():
        shutil.rmtree(folder)
    folder.mkdir(parents=True)
    for name, data in work.old_files.items():
        (folder / name).write_bytes(data)


def references(works, scratch):
    """What each program writes when nothing disturbs it, and an earlier run's results."""
    for work in works:
        began = time.monotonic()
        subprocess.run(work.command, cwd=scratch, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        work.seconds = time.monotonic() - began
        work.new = contents(work.folder)
        # The same names, another content; blocks.csv is one that the new results may not have.
        work.old_files = {name: b"of an earlier run\n" + data[:2000] for name, data in work.new.items()
                          if name != "summary.json"}
        if "summary.json" in work.new:
            work.old_files["summary.json"] = json.dumps({"tracking_seconds": 0, "of": "an earlier run"}).encode()
            work.old_files.setdefault("blocks.csv", b"of an earlier run\n")
        put_old(work, work.folder)
        work.old = contents(work.folder)


def kill_once(work, scratch, number, chance):
    """Starts, waits, kills; returns what is left, and whether hidden files are."""
    put_old(work, work.folder)
    chosen = SIGNALS[chance.randrange(len(SIGNALS))]
    running = subprocess.Popen(work.command, cwd=scratch, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    if number % 3 == 0:  # the moment in which results are put in place, as near as it can be met
        while running.poll() is None and not any(name.endswith(".whole") for name in os.listdir(work.folder)):
            pass
    else:
        time.sleep(chance.uniform(0, 1.1) * work.seconds)
    running.send_signal(chosen)
    status = running.wait()
    state = judge(work, work.folder)
    hidden = any(path.name.startswith(".") for path in work.folder.iterdir())
    if hidden and chosen != signal.SIGKILL and status != 0:
        state = f"WRONG: {chosen.name} left hidden files, {state}"
    if state == "none" and not hidden:
        state = "WRONG: the old results are gone, and no new ones there"
    return chosen.name if status else "ended before", state


def run_again(work, scratch):
    """The next run's results are the new ones, and nothing hidden is left."""
    subprocess.run(work.command, cwd=scratch, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    if judge(work, work.folder) != "new" or len(contents(work.folder)) != len(work.new):
        return "WRONG: the next run did not put its results in place, or left what was there"
    return None


def kills(works, scratch, count, chance):
    outcomes = {}
    for number in range(count):
        work = works[number % len(works)]
        how, state = kill_once(work, scratch, number, chance)
        key = (work.name, how, state)
        outcomes[key] = outcomes.get(key, 0) + 1
        again = run_again(work, scratch) if how == "SIGKILL" else None
        if again:
            outcomes[(work.name, "run again", again)] = 1
    return outcomes


class SmallDisk:
    """A folder on a disk of its own that has `free` bytes left; or a limit of the files' length."""

    def __init__(self, place, total):
        self.place, self.total, self.mounted = place, total, False

    def __enter__(self):
        self.place.mkdir(exist_ok=True)
        self.mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={self.total}", "tmpfs", self.place], check=False,
                                      stderr=subprocess.DEVNULL).returncode == 0
        return self

    def __exit__(self, *_):
        if self.mounted:
            subprocess.run(["umount", self.place], check=True)
        else:
            shutil.rmtree(self.place)

    def leave(self, free):
        """Fills the disk up; what the program that is started then may use."""
        if not self.mounted:
            return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (free, free))
        status = os.statvfs(self.place)
        ballast = status.f_bavail * status.f_frsize - free
        with open(self.place / "ballast", "wb") as file:
            os.posix_fallocate(file.fileno(), 0, max(ballast, 1))
        return None


def full_once(work, scratch, free):
    """One run on a disk with `free` bytes left."""
    need = (MOST + 2) * sum(len(data) for data in work.new.values()) + (8 << 20)
    with SmallDisk(scratch / "disk", need) as disk:
        folder = scratch / "disk" / work.folder.name
        put_old(work, folder)
        limit = disk.leave(free)
        command = [str(part).replace(str(work.folder), str(folder)) for part in work.command]
        done = subprocess.run(command, cwd=scratch, check=False, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
                              preexec_fn=limit)
        state = judge(work, folder)
        hidden = [path.name for path in folder.iterdir() if path.name.startswith(".")]
        said = done.stderr.decode("utf-8", "replace")
        if state != ("new" if done.returncode == 0 else "old"):
            state = f"WRONG: status {done.returncode} with {state} results"
        elif done.returncode not in (0, 1) or (done.returncode == 1 and "disk" not in said and "space" not in said):
            state = f"WRONG: status {done.returncode}, says {said!r}"
        elif hidden:
            state = f"WRONG: left {hidden}"
        return ("tmpfs" if disk.mounted else "limit"), state


def full_disks(works, scratch, count):
    outcomes = {}
    for number in range(count):
        work = works[number % len(works)]
        total = sum(len(data) for data in work.new.values())
        # From nothing to more than is needed for results and pictures' data, evenly in the logarithm.
        part = (number + 1) / count
        free = int(2048 * (MOST * total / 2048) ** part)
        how, state = full_once(work, scratch, free)
        key = (work.name, f"full disk ({how})", state)
        outcomes[key] = outcomes.get(key, 0) + 1
    return outcomes


def all_works(programs, scratch):
    subprocess.run([programs / "make_recording", "good.npy", "--seed", "2", "--sampling-rate", "40e6", "--frame-rate", "500",
                    "--seconds", "2"], cwd=scratch, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    track = [programs / "track_artery", "good.npy", "--out"]
    pictures = [] if shutil.which("gnuplot") else ["--no-pictures"]
    made = scratch / "made"
    made.mkdir()
    return [Work("whole", [*track, scratch / "whole", *pictures], scratch / "whole", "summary.json"),
            Work("blocks", [*track, scratch / "blocks", "--block", "1"], scratch / "blocks", "summary.json"),
            Work("tables", [*track, scratch / "tables", "--no-pictures"], scratch / "tables", "summary.json"),
            Work("recording", [programs / "make_recording", made / "x.npy", "--sampling-rate", "20e6", "--seconds", "1"],
                 made, "x.json")]


def main():
    parser = argparse.ArgumentParser(description="Kills programs, and fills the disk.")
    parser.add_argument("--programs", type=pathlib.Path, required=True)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--disks", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    with harness.scratch_folder() as scratch:
        scratch = pathlib.Path(scratch)
        works = all_works(arguments.programs.resolve(), scratch)
        references(works, scratch)
        outcomes = kills(works, scratch, arguments.kills, random.Random(arguments.seed))
        outcomes.update(full_disks(works, scratch, arguments.disks))
    print(f"{arguments.kills} runs killed, {arguments.disks} on a full disk (seed {arguments.seed})")
    for (name, how, state), count in sorted(outcomes.items()):
        print(f"{name:12}{how:20}{count:5}  {state}{' results' if state in ('old', 'new') else ''}")
    wrong = sum(count for (_, _, state), count in outcomes.items() if state.startswith("WRONG"))
    print("nothing partial was taken for whole" if wrong == 0 else f"{wrong} wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
