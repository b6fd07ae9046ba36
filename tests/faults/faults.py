"""Plants faults in a copy of the tree, one at a time, and reports which of them no test notices.

    python3 tests/faults/faults.py                     all of them, hours: by hand and by night
    python3 tests/faults/faults.py --only motion       a room's, or --only motion/contact-surroundings
    python3 tests/faults/faults.py --named-only        without the rest of a survivor's room: minutes less each
    python3 tests/faults/faults.py --check             whether the list fits the sources, at once
    python3 tests/faults/faults.py --list              what would be planted

Of each fault only what it touches is compiled: the file itself, or the test files that include it,
by the commands of a build tree (--build, made by CMake for Ninja with tests and examples), and
linked with that tree's other objects. The tests that ought to notice run first; if they pass, all
tests of their room do (not with --named-only: a fault that the tests named don't notice then
counts as a survivor). A fault is caught when a test fails, crashes or hangs. An entry that no
longer fits the sources or does not compile is an error of the list.

Status 0: at least 95 in 100 were caught, and the list is in order. 1: fewer, or an error.
"""

import argparse
import collections
import concurrent.futures
import dataclasses
import os
import pathlib
import queue
import re
import shlex
import sys
import threading
import time

from fault_build import BuildError, BuildTree, ScratchTree, last_lines, run
from fault_list import PROGRAM_TEST, planted, problems, read_list

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parents[1]
LEAST_CAUGHT = 0.95
HANG = 20  # times what the tests take without the fault ...
SHORTEST_HANG = 120  # ... or this [s], whichever is longer
LONGEST_RUN = 3600  # [s], of tests without a fault
FAILED_CASE = re.compile(r"^TEST CASE:\s+(.*)$", re.MULTILINE)


@dataclasses.dataclass
class Outcome:
    kind: str  # caught, survived, error
    how: str
    seconds: float = 0


class Planter:
    """Plants faults one by one, in a copy of the tree for each worker."""

    def __init__(self, tree, scratch, jobs, named_only):
        self.tree = tree
        self.named_only = named_only
        self.scratch = scratch
        self.workers = queue.Queue()
        for k in range(jobs):
            self.workers.put(ScratchTree(tree, scratch / f"worker{k}"))
        self.program_tests = tree.program_tests()
        self.baselines = {}
        self.lock = threading.Lock()

    def prepare(self, faults, jobs):
        """Brings up to date what the faults' tests are made of, so that only faults are compiled after."""
        targets = set()
        for fault in faults:
            for target in self.targets_of(fault):
                words, objects = self.tree.link_of(target)
                targets |= {word for word in words if word.endswith(".a")}
                targets |= {o for o in objects if self.wanted(o, fault.tests)}
            targets |= set(self.programs_of(fault))
        if targets:
            self.tree.ninja(f"-j{jobs}", *sorted(targets))

    @staticmethod
    def target_of(test):
        """The test program that a test file belongs to: its room's."""
        return f"tests/test_{test.split('/')[0]}"

    def targets_of(self, fault):
        return sorted({self.target_of(test) for test in fault.tests
                       if not test.startswith(PROGRAM_TEST)})

    def wanted(self, made, tests):
        """Whether an object goes into a program of these test files: it is one of them, or of none."""
        source = self.tree.source_of.get(made, "")
        return (source.removeprefix("tests/") in tests or not source.startswith("tests/")
                or source.startswith("tests/support/"))

    def programs_of(self, fault):
        """The example programs that its tests run."""
        own = [target for target in self.tree.executables("examples")
               if any(self.tree.source_of.get(o) in (fault.file, *fault.sources)
                      for o in self.tree.link_of(target)[1])]
        return sorted({*own, *(f"examples/{name}" for name in fault.programs)})

    def try_out(self, fault):
        """What becomes of one fault."""
        began = time.monotonic()
        scratch = self.workers.get()
        path = scratch.copy / fault.file
        whole = path.read_text(encoding="utf-8")
        try:
            path.write_text(planted(whole, fault), encoding="utf-8")
            outcome = self.outcome_of(fault, scratch)
        except (BuildError, ValueError) as error:
            outcome = Outcome("error", str(error))
        finally:
            path.write_text(whole, encoding="utf-8")
            self.workers.put(scratch)
        outcome.seconds = time.monotonic() - began
        return outcome

    def outcome_of(self, fault, scratch):
        is_source = fault.file.endswith(".cpp")
        changed = {source: scratch.compile(source)
                   for source in ([fault.file] if is_source else fault.sources)}
        for test in fault.tests:
            how = (self.program_test_notices(fault, scratch, changed, test)
                   if test.startswith(PROGRAM_TEST) else
                   self.room_notices(fault, scratch, changed, self.target_of(test), (test,)))
            if how:
                return Outcome("caught", how)
        for target in () if self.named_only else self.targets_of(fault):
            how = self.room_notices(fault, scratch, changed, target, None)
            if how:
                return Outcome("caught", f"{how} [by the rest of the room]")
        return Outcome("survived", "")

    def room_notices(self, fault, scratch, changed, target, tests):
        """How a room's test program, of some test files or of all, takes notice; None if it does not."""
        _, objects = self.tree.link_of(target)
        if tests is None:
            self.tree.ninja("-j1", *objects)
        else:
            objects = [o for o in objects if self.wanted(o, tests)]
        limit = self.baseline(target, tuple(objects))
        if not fault.file.endswith(".cpp"):
            sources = {self.tree.source_of.get(o, "") for o in objects}
            stale = [s for s in sources if s.startswith("tests/") and s not in changed]
            for source in scratch.includers(fault.file, stale):
                changed[source] = scratch.compile(source)
        self.tree.link(target, objects, changed, scratch.folder / "faulty")
        return notice(*watched([str(scratch.folder / "faulty")], scratch.folder, limit))

    def baseline(self, target, objects):
        """The time limit for these tests, from a run without a fault. BuildError if that fails."""
        with self.lock:
            if (target, objects) not in self.baselines:
                folder = self.scratch / "baseline"
                folder.mkdir(parents=True, exist_ok=True)
                self.tree.link(target, objects, {}, folder / "sound")
                began = time.monotonic()
                status, output = run([str(folder / "sound")], folder, LONGEST_RUN)
                if status != 0:
                    raise BuildError(f"its tests fail without the fault:\n{last_lines(output)}")
                self.baselines[target, objects] = max(SHORTEST_HANG,
                                                      HANG * (time.monotonic() - began))
            return self.baselines[target, objects]

    def program_test_notices(self, fault, scratch, changed, test):
        """The same for a test of programs, which are linked anew."""
        command, environment = self.program_test(test)
        programs = scratch.folder / "programs"
        programs.mkdir(exist_ok=True)
        for target in self.tree.executables("examples"):
            link = programs / pathlib.Path(target).name
            link.unlink(missing_ok=True)
            link.symlink_to(self.tree.build / target)
        limit = self.program_baseline(test)
        for target in self.programs_of(fault):
            made = programs / pathlib.Path(target).name
            made.unlink(missing_ok=True)
            self.tree.link(target, self.tree.link_of(target)[1], changed, made)
        moved = [scratch.moved(word.replace(str(self.tree.build / "examples"), str(programs))
                               .replace(str(self.tree.build / "tests"), str(scratch.folder)))
                 for word in command]
        return notice(*watched(moved, scratch.folder, limit, environment))

    def program_test(self, test):
        """Command and environment of what an entry calls ctest:<name>, or ctest:<name> --<more arguments>."""
        name, more, arguments = test.removeprefix(PROGRAM_TEST).partition(" --")
        if name not in self.program_tests:
            raise BuildError(f"ctest knows no test '{name}'")
        command, environment = self.program_tests[name]
        return [*command, *shlex.split(more + arguments)], {**os.environ, **environment}

    def program_baseline(self, test):
        """The time limit for a test of programs, from a run without a fault. BuildError if that fails."""
        with self.lock:
            if test not in self.baselines:
                command, environment = self.program_test(test)
                began = time.monotonic()
                status, output = run(command, self.scratch, LONGEST_RUN, environment)
                if status != 0:
                    raise BuildError(f"'{test}' fails without the fault:\n{last_lines(output)}")
                self.baselines[test] = max(SHORTEST_HANG, HANG * (time.monotonic() - began))
            return self.baselines[test]


def watched(command, folder, limit, environment=None):
    """As `run`, but what takes too long gets a second try: a machine may have been busy, or asleep."""
    status, output = run(command, folder, limit, environment)
    return run(command, folder, limit, environment) if status is None else (status, output)


def notice(status, output):
    """How tests took notice of a fault, in words; None if they passed."""
    failed = FAILED_CASE.findall(output)
    by = f" in '{failed[-1].strip()}'" if failed else ""
    if status is None:
        return "hangs"
    if status < 0:
        return f"crashes by signal {-status}{by}"
    return f"fails{by}" if status != 0 else None


def table_of(outcomes):
    """Caught, survived and errors by room, as lines."""
    rooms = collections.defaultdict(collections.Counter)
    for fault, outcome in outcomes:
        rooms[fault.room][outcome.kind] += 1
    whole = collections.Counter()
    lines = [f"{'room':<12} {'faults':>6} {'caught':>6} {'survived':>8} {'errors':>6}"]
    for room, count in [*rooms.items(), ("all", whole)]:
        lines.append(f"{room:<12} {count.total():>6} {count['caught']:>6} {count['survived']:>8} "
                     f"{count['error']:>6}")
        if count is not whole:
            whole.update(count)
    return lines


def run_all(faults, arguments):
    tree = BuildTree(ROOT, arguments.build.resolve())
    planter = Planter(tree, arguments.build.resolve() / "faults", arguments.jobs,
                      arguments.named_only)
    planter.prepare(faults, arguments.jobs)
    outcomes = []
    with concurrent.futures.ThreadPoolExecutor(arguments.jobs) as pool:
        running = {pool.submit(planter.try_out, fault): fault for fault in faults}
        for done in concurrent.futures.as_completed(running):
            fault, outcome = running[done], done.result()
            outcomes.append((fault, outcome))
            print(f"[{len(outcomes)}/{len(faults)}] {fault.name}: {outcome.kind} {outcome.how} "
                  f"({outcome.seconds:.0f} s)", flush=True)
    order = {fault: k for k, fault in enumerate(faults)}
    outcomes.sort(key=lambda pair: order[pair[0]])
    print("\n" + "\n".join(table_of(outcomes)))
    for kind in ("survived", "error"):
        for fault, outcome in outcomes:
            if outcome.kind == kind:
                why = outcome.how or fault.reason or "no reason is known"
                print(f"{kind}: {fault.name} ({fault.file}), {fault.breaks}: {why}")
    caught = sum(outcome.kind == "caught" for _, outcome in outcomes)
    errors = sum(outcome.kind == "error" for _, outcome in outcomes)
    print(f"{caught} of {len(outcomes)} caught, {100 * caught / max(len(outcomes), 1):.1f} in 100")
    return 1 if errors or caught < LEAST_CAUGHT * len(outcomes) else 0


def main():
    parser = argparse.ArgumentParser(description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--build", type=pathlib.Path, default=ROOT / "build/release",
                        help="build tree to take commands and objects from")
    parser.add_argument("--only", action="append", default=[], metavar="ROOM[/ID]",
                        help="this room or this fault; may be given again")
    parser.add_argument("--jobs", type=int, default=1, help="faults at the same time")
    parser.add_argument("--named-only", action="store_true",
                        help="run the tests an entry names, never the rest of their room")
    parser.add_argument("--check", action="store_true", help="check the list, plant nothing")
    parser.add_argument("--list", action="store_true", help="print the list, plant nothing")
    arguments = parser.parse_args()
    faults = read_list(HERE / "list")
    found = list(problems(faults, ROOT))
    for line in found:
        print(f"error of the list: {line}")
    if arguments.check:
        print(f"{len(found)} errors in a list of {len(faults)} faults")
        return 1 if found else 0
    chosen = [fault for fault in faults if not arguments.only
              or fault.room in arguments.only or fault.name in arguments.only]
    if not chosen:
        parser.error(f"no fault is named {' or '.join(arguments.only)}")
    if arguments.list:
        for fault in chosen:
            print(f"{fault.name}: {fault.breaks} ({fault.file})")
        return 0
    status = run_all(chosen, arguments)
    return 1 if found else status


if __name__ == "__main__":
    try:
        sys.exit(main())
    except (BuildError, ValueError) as failure:
        sys.exit(f"faults.py: {failure}")
