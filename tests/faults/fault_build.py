"""Compiles and links what a fault touches, by the commands of a build tree made by CMake for Ninja."""

import json
import os
import pathlib
import re
import shlex
import shutil
import signal
import subprocess
import tempfile

INCLUDE = re.compile(r'^\s*#\s*include\s*"([^"]+)"', re.MULTILINE)
COMPILE_LIMIT = 1800  # [s]


class BuildError(Exception):
    """A file does not compile, or does not link."""


def run(command, folder, limit, environment=None):
    """Status and output. A command that takes longer than `limit` [s] is ended with all that it
    started, and has the status None."""
    with tempfile.TemporaryFile() as output:
        # A session of its own, so that it can be ended as a whole.
        process = subprocess.Popen(command, cwd=folder, stdin=subprocess.DEVNULL, stdout=output,
                                   stderr=subprocess.STDOUT, env=environment, start_new_session=True)
        try:
            status = process.wait(limit)
        except subprocess.TimeoutExpired:
            status = None
        finally:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait()
        output.seek(0)
        return status, output.read().decode(errors="replace")


def last_lines(text, count=15):
    return "\n".join(text.strip().splitlines()[-count:])


def folder_of(library):
    """Where the sources of one of the tree's libraries are; None for other libraries."""
    name = re.fullmatch(r"lib(echosieve_\w+|examples_support)\.a", pathlib.Path(library).name)
    return name and name[1].replace("echosieve_", "src/").replace("examples_", "examples/") + "/"


class BuildTree:
    """What a build tree says of how each file is compiled and each program is linked."""

    def __init__(self, root, build):
        self.root = root
        self.build = build
        if not (build / "build.ninja").is_file():
            raise BuildError(f"{build} is no build tree made by CMake for Ninja")
        self.compiled = {}  # source from the root on -> its commands, one an instruction set
        self.source_of = {}  # object from the build tree on -> its source
        for entry in json.loads(self.ninja("-t", "compdb")):
            words = shlex.split(entry["command"])
            if "-c" not in words or not entry["file"].endswith(".cpp"):
                continue
            source = self.from_root(pathlib.Path(entry["directory"]) / entry["file"])
            if source:
                self.compiled.setdefault(source, []).append(words)
                self.source_of[entry["output"]] = source
        self.linked = {}

    def ninja(self, *arguments):
        status, output = run(["ninja", "-C", str(self.build), *arguments], None, None)
        if status != 0:
            raise BuildError(f"ninja {' '.join(arguments)}: {last_lines(output)}")
        lines = output.splitlines(keepends=True)
        return "".join(line for line in lines if not line.startswith("ninja: Entering"))

    def from_root(self, path):
        path = pathlib.Path(os.path.normpath(path))
        if path.is_relative_to(self.root) and not path.is_relative_to(self.build):
            return path.relative_to(self.root).as_posix()
        return None

    def link_of(self, target):
        """(words before the objects and what follows, objects) of a program."""
        if target not in self.linked:
            line = self.ninja("-t", "commands", "-s", target).strip().splitlines()[-1]
            part = next((p for p in line.split("&&") if f"-o {target} " in p + " "), None)
            if part is None:
                raise BuildError(f"{target}: how it is linked was not found")
            words = shlex.split(part)
            at = words.index("-o")
            rest = words[:at] + words[at + 2:]
            self.linked[target] = ([w for w in rest if not w.endswith(".o")],
                                   [w for w in rest if w.endswith(".o")])
        return self.linked[target]

    def link(self, target, objects, changed, made):
        """A program of the build tree, of these objects, those of `changed` sources (source -> its
        objects) in place of its own. A library that holds a changed source gives way to its objects."""
        words, _ = self.link_of(target)
        compiler, rest = words[0], words[1:]
        if pathlib.Path(compiler).name == "ccache":
            compiler, rest = rest[0], rest[1:]
        libraries = [w for w in rest if w.endswith((".a", ".so")) or w.startswith("-l")]
        flags = [w for w in rest if w not in libraries]
        for library in libraries[:]:
            folder = folder_of(library)
            if folder and any(source.startswith(folder) for source in changed):
                libraries.remove(library)
                objects = [*objects, *(o for o, source in self.source_of.items()
                                       if source.startswith(folder))]
        kept = [o for o in objects if self.source_of.get(o) not in changed]
        sources = {self.source_of.get(o) for o in objects}
        new = [part for source, parts in changed.items() if source in sources for part in parts]
        made.parent.mkdir(parents=True, exist_ok=True)
        # The new ones first: an inline function that others have compiled as well is then theirs.
        command = [compiler, *flags, *new, *kept, *libraries, "-o", str(made)]
        status, output = run(command, self.build, COMPILE_LIMIT)
        if status != 0:
            raise BuildError(f"{target} does not link:\n{last_lines(output)}")

    def executables(self, folder):
        """Targets below a folder of the build tree."""
        lines = self.ninja("-t", "targets", "all").splitlines()
        return [line.split(":")[0] for line in lines
                if line.startswith(folder + "/") and "CXX_EXECUTABLE_LINKER" in line]

    def program_tests(self):
        """Name -> (command, environment) of the tests that ctest knows."""
        status, output = run(["ctest", "--test-dir", str(self.build), "--show-only=json-v1"], None, 60)
        if status != 0:
            raise BuildError(f"ctest: {last_lines(output)}")
        tests = {}
        for test in json.loads(output[output.index("{"):])["tests"]:
            said = {p["name"]: p["value"] for p in test.get("properties", [])}
            environment = dict(item.split("=", 1) for item in said.get("ENVIRONMENT", []))
            if test.get("command"):
                tests[test["name"]] = (test["command"], environment)
        return tests


def tracked_files(root):
    """The tree's files, as git knows them, those not yet committed too."""
    status, output = run(["git", "-C", str(root), "ls-files", "-co", "--exclude-standard"], None, 60)
    if status != 0:
        raise BuildError(f"git ls-files: {last_lines(output)}")
    return [line for line in output.splitlines() if (root / line).is_file()]


class ScratchTree:
    """A copy of the tree, one fault in it at a time."""

    def __init__(self, tree, folder):
        self.tree = tree
        self.folder = folder
        self.copy = folder / "tree"
        self.objects = folder / "objects"
        if self.copy.exists():
            shutil.rmtree(self.copy)
        for path in tracked_files(tree.root):
            to = self.copy / path
            to.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(tree.root / path, to)
        self.objects.mkdir(parents=True, exist_ok=True)

    def moved(self, word):
        """A word of a command, with the copy's paths for the tree's."""
        build = str(self.tree.build)
        parts = word.split(build)
        return build.join(part.replace(str(self.tree.root), str(self.copy)) for part in parts)

    def compile(self, source):
        """Objects of a file of the copy, one for each way the build tree compiles it."""
        commands = self.tree.compiled.get(source)
        if not commands:
            raise BuildError(f"{source}: the build tree does not compile it")
        objects = []
        for k, words in enumerate(commands):
            made = self.objects / f"{source.replace('/', '_')}_{k}.o"
            words = [self.moved(word) for word in words]
            for flag in ("-MT", "-MF", "-o"):
                if flag in words:
                    at = words.index(flag)
                    del words[at:at + 2]
            words = [word for word in words if word != "-MD"] + ["-o", str(made)]
            status, output = run(words, self.tree.build, COMPILE_LIMIT)
            if status != 0:
                raise BuildError(f"{source} does not compile:\n{last_lines(output)}")
            objects.append(str(made))
        return objects

    def includers(self, header, candidates):
        """Those of the candidates that include a header, directly or by others."""
        texts = {}

        def included(path):
            if path not in texts:
                text = (self.copy / path).read_text(encoding="utf-8", errors="replace")
                texts[path] = [found for name in INCLUDE.findall(text)
                               for found in self.found(path, name)]
            return texts[path]

        def reaches(path, seen):
            for other in included(path):
                if other == header:
                    return True
                if other not in seen:
                    seen.add(other)
                    if reaches(other, seen):
                        return True
            return False

        return [path for path in candidates if reaches(path, set())]

    def found(self, path, name):
        """Where an include leads to, from the root on."""
        for folder in (os.path.dirname(path), "include", "src", "tests", "examples"):
            candidate = os.path.normpath(os.path.join(folder, name))
            if (self.copy / candidate).is_file():
                return [candidate]
        return []
