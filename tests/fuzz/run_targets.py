"""Runs fuzz targets side by side, and says how much was executed and what was found.

    python3 run_targets.py --programs DIR --work DIR (--seconds S | --hours H) [--seed N] [--jobs N] [--table FILE] [TARGET...]

With --seconds each target runs so long, and stops at its first finding. With --hours that much time in all is shared
out evenly, and a target goes on after a finding. Time is the processor's own: on a machine that others use too it takes
longer, though never more than four times as long.
"""

import argparse
import collections
import concurrent.futures
import os
import pathlib
import re
import shutil
import subprocess
import sys
import time

# An input that takes longer, or more memory, is a finding. Others may have the processor meanwhile: what took long by
# the clock is run again, and counts if the processor's own time says so too. What does not end at all is stopped.
LONGEST_SECONDS = 10
ENDLESS_SECONDS = 120
MOST_MEGABYTES = 2048
LONGEST_WAIT = 4  # times what a target is given, by the clock
# Options from a byte stream need few bytes; files may be longer.
LONGEST_INPUT = {"npy": 4096, "settings": 4096, "commands": 2048}
USUAL_LONGEST_INPUT = 1024
# A program's first run leaves what later ones use: to look for leaks after every run cost more than the runs.
LEAKS_AT_THE_END = {"commands"}

SUMMARY = re.compile(r"^(finding: .*|.*runtime error: .*|SUMMARY: .*|terminate called .*|.*Assertion .* failed.*)$",
                     re.MULTILINE)
EXECUTED = re.compile(r"stat::number_of_executed_units:\s+(\d+)")
COVERED = re.compile(r"cov: (\d+)")
SLOW = re.compile(r"Test unit written to (\S*/slow-unit-\S+)")

Record = collections.namedtuple("Record", "target seconds used executed covered findings")


def first_line(log):
    """What a log says that was found."""
    found = SUMMARY.search(log)
    text = found.group(1) if found else "the target ended without a word"
    return re.sub(r"0x[0-9a-f]+|==\d+==", "", text).strip()[:200]


def execute(command, log):
    """Runs it, what it says in error kept in a file; its status, and the processor's time [s]."""
    environment = dict(os.environ, UBSAN_OPTIONS="print_stacktrace=1",
                       ASAN_OPTIONS="malloc_context_size=8:quarantine_size_mb=64")
    with open(log, "wb") as error, subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=error,
                                                    env=environment) as process:
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    return process.returncode, used.ru_utime + used.ru_stime


def slow_inputs(program, log):
    """Inputs that take too long by the processor's time, each with that time; the others' files are removed."""
    slow = {}
    for file in {pathlib.Path(name) for name in SLOW.findall(log)}:
        _, used = execute([program, file], os.devnull)
        if used > LONGEST_SECONDS:
            slow[file] = used
        else:
            file.unlink()
    return slow


def command_of(target, arguments, seconds):
    """The target's command line for so many seconds; its folders are there afterwards."""
    here = pathlib.Path(__file__).parent
    corpus = arguments.work / "corpus" / target
    found = arguments.work / "found" / target
    for folder in (corpus, found):
        folder.mkdir(parents=True, exist_ok=True)
    dictionary = here / "dictionaries" / f"{target}.dict"
    seeds = here / "seeds" / target
    return [str(arguments.programs / f"{target}_fuzz"),
            f"-max_total_time={seconds}", f"-timeout={ENDLESS_SECONDS}", f"-report_slow_units={LONGEST_SECONDS}",
            f"-rss_limit_mb={MOST_MEGABYTES}", f"-max_len={LONGEST_INPUT.get(target, USUAL_LONGEST_INPUT)}",
            f"-artifact_prefix={found}/", "-print_final_stats=1",
            *([f"-seed={arguments.seed}"] if arguments.seed else []),
            *(["-detect_leaks=0"] if target in LEAKS_AT_THE_END else []),
            *([f"-dict={dictionary}"] if dictionary.is_file() else []),
            str(corpus), *([str(seeds)] if seeds.is_dir() else [])]


def run(target, arguments, seconds, keep_going):
    """Runs one target until it has used so much of the processor; with keep_going also after a finding."""
    log = arguments.work / f"{target}.log"
    used, executed, covered, findings = 0, 0, 0, collections.Counter()
    begin = time.monotonic()
    while seconds - used > seconds / 20 and time.monotonic() - begin < LONGEST_WAIT * seconds:
        command = command_of(target, arguments, max(1, round(seconds - used)))
        status, part = execute(command, log)
        used += part
        said = log.read_text(encoding="utf-8", errors="replace")
        executed += sum(int(n) for n in EXECUTED.findall(said))
        covered = max([covered, *(int(n) for n in COVERED.findall(said))])
        new = [f"an input takes {time_of:.0f} s: {file.name}"
               for file, time_of in slow_inputs(command[0], said).items()]
        if status != 0:
            new.append(first_line(said))
        for what in new:
            findings[what] += 1
            print(f"{target}: {what}", flush=True)
            if findings[what] == 1:
                shutil.copy(log, arguments.work / "found" / target / f"{sum(findings.values())}.log")
        if new and not keep_going:
            break
    spent = time.monotonic() - begin
    print(f"{target}: {executed:,} executions in {used:.0f} s of a core, {spent:.0f} s by the clock, {covered} edges, "
          f"{sum(findings.values())} findings", flush=True)
    return Record(target, spent, used, executed, covered, findings)


def table(records):
    lines = ["| target | time of a core [s] | by the clock [s] | executions | edges | findings |",
             "|---|---|---|---|---|---|"]
    for r in records:
        what = "; ".join(f"{n} x {text}" for text, n in r.findings.items()) or "none"
        lines.append(f"| {r.target} | {r.used:.0f} | {r.seconds:.0f} | {r.executed:,} | {r.covered} | {what} |")
    lines.append(f"| all | {sum(r.used for r in records):.0f} | {sum(r.seconds for r in records):.0f} | "
                 f"{sum(r.executed for r in records):,} | | "
                 f"{sum(len(r.findings) for r in records)} |")
    return "\n".join(lines) + "\n"


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--programs", type=pathlib.Path, required=True)
    parser.add_argument("--work", type=pathlib.Path, required=True)
    parser.add_argument("--seconds", type=float)
    parser.add_argument("--hours", type=float)
    parser.add_argument("--seed", type=int, help="the same inputs in each run, as far as it comes")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--table", type=pathlib.Path)
    parser.add_argument("targets", nargs="*")
    arguments = parser.parse_args()
    arguments.work = arguments.work.resolve()  # a target may go elsewhere
    targets = arguments.targets or sorted(p.name.removesuffix("_fuzz") for p in arguments.programs.glob("*_fuzz"))
    if not targets:
        parser.error(f"no fuzz targets in {arguments.programs}")
    seconds = arguments.seconds or arguments.hours * 3600 / len(targets)
    with concurrent.futures.ThreadPoolExecutor(arguments.jobs) as pool:
        records = list(pool.map(lambda t: run(t, arguments, seconds, arguments.hours is not None), targets))
    print("\n" + table(records))
    if arguments.table:
        arguments.table.write_text(table(records), encoding="utf-8")
    return 1 if any(r.findings for r in records) else 0


if __name__ == "__main__":
    sys.exit(main())
