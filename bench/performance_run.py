"""Runs the programs of a build for performance.py, and keeps what its benchmarks measured."""
import json
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path


class Programs:
    """The programs of a build, brought up to date first, run with a limit of time; what they print, or what went wrong."""

    def __init__(self, build):
        self.build = build
        self.problems = []
        self.up_to_date = {}

    def program(self, name):
        """(path, None), or (None, what went wrong): a program older than its sources would give old figures."""
        if name not in self.up_to_date:
            self.up_to_date[name] = self.bring_up_to_date(name)
        return self.up_to_date[name]

    def bring_up_to_date(self, name):
        print("building:", name, flush=True)
        done = subprocess.run(["cmake", "--build", self.build, "--target", name], capture_output=True, text=True,
                              check=False)
        if done.returncode != 0:
            return None, self.note(name, "could not be built")
        for folder in ("bench", "examples"):
            found = self.build / folder / name
            if found.is_file() and os.access(found, os.X_OK):
                return found, None
        return None, self.note(name, "not in the build")

    def run(self, command, limit=240, name=None):
        """(text, None), or (None, what went wrong); `name` to be blamed if it is not the command's own."""
        command = [str(part) for part in command]
        name = name or Path(command[0]).name
        print("running:", *command, flush=True)
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=limit, check=False)
        except subprocess.TimeoutExpired:
            return None, self.note(name, f"stopped after {limit} s")
        except OSError as error:
            return None, self.note(name, f"failed: {error}")
        if done.returncode != 0:
            last = (done.stderr.strip().splitlines() or ["no message"])[-1]
            return None, self.note(name, f"failed with status {done.returncode}: {last}")
        return done.stdout, None

    def run_named(self, name, *arguments, limit=240):
        program, problem = self.program(name)
        return (None, problem) if problem else self.run([program, *arguments], limit)

    def note(self, name, problem):
        self.problems.append(f"{name}: {problem}")
        print(self.problems[-1], file=sys.stderr, flush=True)
        return problem


class Benches:
    """Least time of each benchmark over its repetitions, with that repetition's counters."""

    UNITS = {"ns": 1e-9, "us": 1e-6, "ms": 1e-3, "s": 1.0}
    OTHER_NUMBERS = {"iterations", "threads", "repetitions", "repetition_index", "family_index",
                     "per_family_instance_index"}

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
                for run in json.loads(out.read_text(encoding="utf-8"))["benchmarks"]:
                    if run.get("error_occurred"):
                        problem = programs.note(run["name"], f"failed: {run.get('error_message', 'no message')}")
                        self.problems.append(f"`{run['name']}`: {problem}.")
                    elif run.get("run_type") == "iteration":
                        self.take(run)

    def take(self, run):
        name = re.sub(r"/(iterations:\d+|process_time|real_time|repeats:\d+)", "", run["name"])
        unit = self.UNITS[run["time_unit"]]
        own = {"cpu_time": run["cpu_time"] * unit, "real_time": run["real_time"] * unit}
        own["time"] = own["real_time" if "real_time" in run["name"] else "cpu_time"]
        own["counters"] = {key: value for key, value in run.items()
                           if isinstance(value, (int, float)) and key not in self.OTHER_NUMBERS
                           and not key.endswith("_time")}
        if name not in self.runs or own["time"] < self.runs[name]["time"]:
            self.runs[name] = own

    def get(self, name):
        """The run of that name, or None."""
        self.shown.add(name)
        return self.runs.get(name)

    def time(self, name):
        run = self.get(name)
        return run["time"] if run else None

    def counter(self, name, key):
        run = self.get(name)
        return run["counters"].get(key) if run else None

    def rest(self):
        """What nobody has asked for."""
        return {name: run for name, run in self.runs.items() if name not in self.shown}
