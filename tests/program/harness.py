"""Runs programs on input that they must refuse, or take, and looks at everything that they leave.

A case is refused well if the exit status is 1, standard error names what is at fault in a sentence of the program's own,
nothing in the folder is new or changed, and all of that within ten seconds of processor time. A case that is taken ends with 0 or 2, says
nothing of a library's own, and leaves all files that were there, and no partial ones.
"""

import concurrent.futures
import dataclasses
import hashlib
import os
import pathlib
import re
import resource
import shutil
import signal
import struct
import subprocess
import tempfile
import threading
import time

LONGEST = 10  # of processor time [s]: what else the machine does must not count
DEAF = 60.0  # by the clock: waits for something that never comes [s]

# Words of libraries, tools and crashes: none of them tells a user what to do.
RAW = re.compile(
    r"std::|basic_string|vector::|\bsto[dilf]\b|from_chars|json\.exception|CLI::|\[Option Group|terminate called|what\(\)"
    r"|Assertion|Sanitizer|runtime error:|core dumped|bad_alloc|filesystem error|iostream|_M_|Eigen::|echosieve::"
    r"|examples::|nlohmann|__cxx11")


def npy(shape, descr="<i2", order="False", version=(1, 0), header=None, data=None, length=None):
    """The bytes of a .npy file, with anything in it wrong that one likes."""
    if header is None:
        header = f"{{'descr': {descr!r}, 'fortran_order': {order}, 'shape': {shape}, }}\n"
    text = header.encode("latin-1")
    size = len(text) if length is None else length
    width = "<H" if version[0] == 1 else "<I"
    if data is None:
        data = b""
    return b"\x93NUMPY" + bytes(version) + struct.pack(width, size) + text + data


@dataclasses.dataclass
class Case:
    """One run: `words` must stand in what it says; `status` is what it may end with."""
    program: str
    name: str
    arguments: list
    words: tuple = ()
    status: tuple = (1,)
    stdin: bytes = b""
    files: dict = dataclasses.field(default_factory=dict)  # name -> bytes, or what makes it
    stdout: str = "pipe"  # pipe, full, closed
    closed_stdin: bool = False
    setup: object = None  # called with the folder before
    check: object = None  # called with folder and standard output after; returns what is wrong, or None
    may_write: bool = False
    limit: object = None  # called in the child before the program
    path: str = ""  # a folder of the case's own, in place of PATH


def snapshot(folder):
    """Every file and folder, links not followed, with what is in it."""
    seen = {}
    for root, folders, files in os.walk(os.fsencode(folder)):
        for name in folders + files:
            path = os.path.join(root, name)
            key = os.path.relpath(path, os.fsencode(folder))
            if os.path.islink(path):
                seen[key] = ("link", os.readlink(path))
            elif os.path.isdir(path):
                seen[key] = ("folder",)
            elif os.path.isfile(path):
                status = os.stat(path)
                if status.st_size > 1 << 28:  # a hole: reading it would take long
                    seen[key] = ("hole", status.st_size, status.st_mtime_ns, status.st_ino)
                else:
                    with open(path, "rb") as file:
                        seen[key] = ("file", status.st_ino, hashlib.sha256(file.read()).hexdigest())
            else:
                seen[key] = ("other",)
    return seen


class Harness:
    def __init__(self, folders, template, scratch, patience=1):
        self.folders = folders
        self.longest = LONGEST * patience
        self.template = template
        self.scratch = scratch
        self.rows = {}
        self.failures = []
        self.lock = threading.Lock()
        self.counter = 0

    def folder(self):
        with self.lock:
            self.counter += 1
            number = self.counter
        place = self.scratch / f"case{number}"
        shutil.copytree(self.template, place)
        return place

    def prepare(self, case, place):
        for name, content in case.files.items():
            path = os.path.join(os.fsencode(place), os.fsencode(name))
            if callable(content):
                content(path)
            else:
                with open(path, "wb") as file:
                    file.write(content)
        if case.setup:
            case.setup(place)

    def start(self, case, place):
        """Runs the program; returns status, output, error text and time."""
        def before():  # in the child
            resource.setrlimit(resource.RLIMIT_CPU, (self.longest, self.longest + 1))
            if case.closed_stdin:
                os.close(0)
            if case.stdout == "closed":
                os.close(1)
            if case.limit:
                case.limit()
        full = open("/dev/full", "wb") if case.stdout == "full" else None
        environment = {**os.environ, "PATH": str(place / case.path)} if case.path else None
        began = time.monotonic()
        try:
            done = subprocess.run([program_in(self.folders, case.program), *case.arguments], cwd=place, input=case.stdin,
                                  stdout=full or subprocess.PIPE, stderr=subprocess.PIPE, timeout=DEAF + 6 * self.longest,
                                  preexec_fn=before, check=False, env=environment)
            return done.returncode, done.stdout or b"", done.stderr, time.monotonic() - began
        except subprocess.TimeoutExpired as late:
            return None, b"", late.stderr or b"", time.monotonic() - began
        finally:
            if full:
                full.close()

    def problems(self, case, place):
        """What is wrong with a run: sentences, none if nothing is."""
        before = snapshot(place)
        status, output, error, seconds = self.start(case, place)
        text = error.decode("utf-8", "replace")
        wrong = []
        if status is None:
            wrong.append(f"waits for {seconds:.0f} s")
        elif status == -signal.SIGXCPU:
            wrong.append(f"works for more than {self.longest} s")
        elif status < 0:
            wrong.append(f"crashed with signal {-status}")
        elif status not in case.status:
            wrong.append(f"ended with {status}, not {case.status}")
        if RAW.search(text):
            wrong.append(f"speaks a library's language: {RAW.search(text).group()}")
        if status == 1 and not any(line.startswith(case.program + ": ") for line in text.splitlines()):
            wrong.append("says nothing after its name")
        said = text + output.decode("utf-8", "replace")
        wrong += [f"does not say '{word}'" for word in case.words if word not in said]
        after = snapshot(place)
        for key, was in before.items():
            if after.get(key) != was and not case.may_write:
                wrong.append(f"{os.fsdecode(key)} was changed or is gone")
        new = sorted(os.fsdecode(key) for key in after if key not in before)
        if status == 1 and new and not case.may_write:
            wrong.append(f"left {', '.join(new)}")
        wrong += [f"left {name}" for name in new if ".partial" in name or ".whole" in name]
        if case.check and not wrong:
            found = case.check(place, output)
            wrong += [found] if found else []
        return wrong, status, text, seconds

    def run(self, case):
        place = self.folder()
        try:
            self.prepare(case, place)
            wrong, status, text, seconds = self.problems(case, place)
        finally:
            shutil.rmtree(os.fsencode(place), ignore_errors=True)
        with self.lock:
            row = self.rows.setdefault(case.program, [0, 0, 0, 0.0])
            row[0] += 1
            row[1] += status == 1
            row[2] += bool(wrong)
            row[3] = max(row[3], seconds)
            if wrong:
                self.failures.append((case, wrong, text))

    def run_all(self, cases, threads):
        with concurrent.futures.ThreadPoolExecutor(threads) as pool:
            for done in concurrent.futures.as_completed([pool.submit(self.run, case) for case in cases]):
                done.result()

    def report(self):
        """Prints the table; True if nothing is wrong."""
        print(f"{'program':24}{'cases':>8}{'refused':>9}{'wrong':>7}{'longest':>10}")
        total = [0, 0, 0, 0.0]
        for program, row in sorted(self.rows.items()):
            print(f"{program:24}{row[0]:8}{row[1]:9}{row[2]:7}{row[3]:8.2f} s")
            total = [a + b for a, b in zip(total[:3], row[:3])] + [max(total[3], row[3])]
        print(f"{'all':24}{total[0]:8}{total[1]:9}{total[2]:7}{total[3]:8.2f} s")
        for case, wrong, text in self.failures:
            print(f"\n{case.program}, {case.name}: {'; '.join(wrong)}\n  {case.arguments}\n  {text.strip()[:600]}")
        return not self.failures


def program_in(folders, name):
    """Where a program is: in the first of the folders that has it."""
    return next((folder / name for folder in folders if (folder / name).is_file()), folders[0] / name)


def scratch_folder():
    """A folder that other users may look into, gone at the end."""
    folder = tempfile.TemporaryDirectory(prefix="echosieve_programs_")
    os.chmod(folder.name, 0o755)
    return folder
