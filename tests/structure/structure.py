"""Reads the sources and reports what breaks the rules of the house.

The rules: includes follow the arrows between the rooms and never run in a circle; only users include the
umbrella header, and it names every public header; what compiled rooms show suits any compiler flags; no file
grows past its limit; nothing names a place on
one machine; test names and checks avoid the traps of the test framework.

    python3 structure.py --root DIR            report, status 1 if anything is wrong
    python3 structure.py --root DIR --umbrella write include/echosieve/echosieve.hpp anew
"""

import argparse
import pathlib
import re
import sys

import border
import guide
from includes import INCLUDE, SOURCES, UMBRELLA, check_circles, check_includes, public_headers

LINE_LIMIT = 500
# Not a header that a user needs: it leaves out of a file what echosieve::pursuit holds.
COMPILED = "echosieve/pursuit/detail/compiled.hpp"
UMBRELLA_TOP = "// All public headers. For users: inside the library every file includes what it uses.\n"
CHECKED = SOURCES | {".py", ".sh", ".cmake", ".in"}
FOLDERS = ["include", "src", "tests", "examples", "bench", ".ci"]

# A path that starts at the root of a file system, after a blank, quote, bracket or sign.
ROOTED = re.compile(r"""(?:^|(?<=[\s"'`=(:,]))/(?:(?:tmp|root|home|work)\b|[A-Za-z_]\w*/[A-Za-z_])""",
                    re.MULTILINE)
SYSTEM = re.compile(r"/(?:usr/(?:bin|include|aarch64-linux-gnu)|etc|dev|proc)\b")
APPROX = re.compile(r"\bdoctest::Approx\b|\bApprox\s*\(")
CASE = re.compile(r'\bTEST_CASE(?:_TEMPLATE|_FIXTURE)?\w*\s*\(\s*(?:\w+\s*,\s*)?"((?:[^"\\]|\\.)*)"')
# Missing from, or broken in, one of the two compilers that must take the library.
NEWER = re.compile(r"\bstd::(?:views|ranges::views|ranges::view_interface|format|source_location)\b")


def read_sources(root):
    """Relative path -> text of every file that the rules cover."""
    files = {}
    for folder in FOLDERS:
        for path in sorted((root / folder).rglob("*")):
            if path.is_file() and (path.suffix in CHECKED or path.name in ("CMakeLists.txt", "run")):
                files[path.relative_to(root).as_posix()] = path.read_text(encoding="utf-8")
    if (root / guide.GUIDE).is_file():
        files[guide.GUIDE] = (root / guide.GUIDE).read_text(encoding="utf-8")
    return files


def umbrella_headers(files):
    return sorted(public_headers(files) + ([COMPILED] if f"include/{COMPILED}" in files else []))


def umbrella_text(files):
    lines = "".join(f'#include "{name}"\n' for name in umbrella_headers(files))
    return f"{UMBRELLA_TOP}#pragma once\n\n{lines}"


def check_umbrella(files):
    named = {name for _, name in INCLUDE.findall(files.get(UMBRELLA, ""))}
    for name in umbrella_headers(files):
        if name not in named:
            yield f"{UMBRELLA}: does not include {name} (write it anew with --umbrella)"


def check_text(files):
    """Length, places on one machine, traps of the test framework and of the compilers."""
    for path, text in files.items():
        count = text.count("\n")
        if count > LINE_LIMIT:
            yield f"{path}: {count} lines, the limit is {LINE_LIMIT}"
        for match in ROOTED.finditer(text):
            if not SYSTEM.match(text, match.start()):
                line = text.count("\n", 0, match.start()) + 1
                yield f"{path}:{line}: names a place on one machine: {text[match.start():].split()[0]}"
        if pathlib.PurePosixPath(path).suffix not in SOURCES:
            continue
        if path.startswith("include/") and "#pragma once" not in text:
            yield f"{path}: has no #pragma once"
        if APPROX.search(text):
            yield f"{path}: uses doctest's Approx, whose tolerance is not the one written"
        for name in CASE.findall(text):
            for character in ";[]":
                if character in name:
                    yield f"{path}: '{character}' in the test name '{name}' splits or swallows ctest entries"
        if NEWER.search(text):
            yield f"{path}: uses {NEWER.search(text).group()}, which not all compilers have"


def violations(root):
    files = read_sources(root)
    if not public_headers(files):
        return [f"{root}: there is no header below include/echosieve"]
    return [line for check in (check_includes, check_circles, check_umbrella, border.check_border, guide.check_guide, check_text)
            for line in check(files)]


def main():
    parser = argparse.ArgumentParser(description="Checks the structure of the source tree.")
    parser.add_argument("--root", type=pathlib.Path, required=True)
    parser.add_argument("--umbrella", action="store_true", help="write the umbrella header anew")
    arguments = parser.parse_args()
    files = read_sources(arguments.root)
    if arguments.umbrella:
        files[UMBRELLA] = umbrella_text(files)
        (arguments.root / UMBRELLA).write_text(files[UMBRELLA], encoding="utf-8")
    found = violations(arguments.root)
    for line in found:
        print(line)
    print(f"{len(found)} violations in {len(files)} files")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
