"""Counts what makes the house hard to live in, and fails where a count has grown past its limit.

    python3 house.py --root DIR [--list]    the counts beside their limits; --list names what is counted

A count that falls lets its limit fall: set it in LIMITS. Functions are found by Universal Ctags.
"""

import argparse
import json
import pathlib
import re
import subprocess
import sys

from includes import brought_by, circles, modules, public_headers
from structure import read_sources

LONG = 60        # lines of a function, signature included: what a screen shows
PARAMETERS = 5   # of a function: what a reader tells apart at its call

# Count -> (what it was before the rooms got their stairs, what it may be at most).
LIMITS = {
    "public headers": (174, 77),
    "public names": (445, 374),
    "headers over 250 lines": (10, 1),
    "headers that a recording's motion brings (artery_motion.hpp)": (12, 5),
    "headers that following it brings (track_artery.hpp)": (25, 16),
    "steps between rooms": (22, 22),
    "circles of modules": (10, 0),
    f"functions over {LONG} lines": (35, 1),  # a kernel's elimination: in parts its registers go through memory
    f"functions of over {PARAMETERS} parameters": (53, 8),
    "numbers without a name in the motion room": (277, 45),  # sizes of small matrices, coefficients of polynomials
    "constants of the motion room that are named twice": (7, 0),
    "lines of code": (47283, None),  # shown only: what a house of features must grow by
}

# Numbers that say what they are in a formula: ends of ranges, halves, squares, signs.
PLAIN_NUMBERS = {"0", "1", "2", "0.0", "1.0", "2.0", "0.5"}
NUMBER = re.compile(r"(?<![\w.'])(?:\d[\d']*\.?\d*|\.\d+)(?:e[+-]?\d+)?(?![\w.])", re.IGNORECASE)
NO_CODE = re.compile(r'//[^\n]*|/\*.*?\*/|"(?:[^"\\\n]|\\.)*"|^[ \t]*#(?:\\\n|[^\n])*', re.DOTALL | re.MULTILINE)
# A statement that names its number: a constant, or a member's default.
NAMED = re.compile(r"\bconstexpr\b[^;(){}]*=|^\s*(?:const\s+)?[\w:<>]+ \w+\s*(?:=[^;()]*)?$")
# The head of what braces give a value.
INITIALISED = re.compile(r"\bconstexpr\b[^;(){}]*$|"
                         r"^\s*(?!struct|class|enum|union|namespace)(?:const\s+)?[\w:<>]+ \w+\s*$")
CONSTANT = re.compile(r"\bconstexpr\s+(?:static\s+|inline\s+)*[\w:<>]+\s+(\w+)\s*(?:=|\{)")


def tags(root, folders, kinds):
    """What Universal Ctags finds of these kinds, with file, line, end, signature and scope."""
    command = ["ctags", "--languages=C++", "--langmap=C++:.hpp.cpp", f"--kinds-C++={kinds}", "--fields=+neSsZ",
               "--output-format=json", "-R", "-f", "-", *folders]
    found = subprocess.run(command, cwd=root, capture_output=True, text=True, check=True).stdout
    return [json.loads(line) for line in found.splitlines()]


def parameters(signature):
    """How many parameters a signature has: commas outside brackets, and one."""
    inside = signature[1:signature.rindex(")")].strip()
    depth, commas = 0, 0
    for character in inside:
        depth += (character in "(<{[") - (character in ")>}]")
        commas += character == "," and depth == 0
    return commas + 1 if inside else 0


def functions(root):
    """Of each function with a body: lines, parameters, file and name."""
    found = []
    for tag in tags(root, ["include", "src", "examples", "bench"], "f"):
        if "end" in tag:
            found.append((tag["end"] - tag["line"] + 1, parameters(tag.get("signature", "()")),
                          f"{tag['path']}: {tag['name']}"))
    return found


def public_names(root, files):
    """Types, functions and constants that public headers declare for a user, overloads once."""
    shown = {f"include/{name}" for name in public_headers(files)}
    return sorted({tag["name"] for tag in tags(root, ["include"], "cegpstufv")
                   if tag["path"] in shown and tag.get("scope", "") == "echosieve"})


def statements(code):
    """(start, text) of each statement; what braces initialise belongs to it."""
    start = position = 0
    while position < len(code):
        character = code[position]
        position += 1
        if character == "{" and INITIALISED.search(code[start:position - 1]):
            depth = 1
            while depth > 0 and position < len(code):
                depth += (code[position] == "{") - (code[position] == "}")
                position += 1
        elif character in ";{}":
            yield start, code[start:position - 1]
            start = position


def unnamed_numbers(text):
    """(line, number) of each number in a statement that gives it no name."""
    code = NO_CODE.sub(lambda match: re.sub(r"[^\n]", " ", match.group()), text)
    for start, statement in statements(code):
        if INITIALISED.search(statement.split("{")[0]) and "{" in statement or NAMED.search(statement.rstrip()):
            continue
        for match in NUMBER.finditer(statement):
            if match.group() not in PLAIN_NUMBERS:
                yield code.count("\n", 0, start + match.start()) + 1, match.group()


def named_twice(files):
    """Constants of one name in several files of the motion room: one of them is to go."""
    homes = {}
    for path, text in files.items():
        for name in CONSTANT.findall(NO_CODE.sub(" ", text)):
            homes.setdefault(name, set()).add(path)
    return [f"{name}: {', '.join(sorted(paths))}" for name, paths in sorted(homes.items()) if len(paths) > 1]


def counts(root):
    """Count -> (number, what is counted, one line each)."""
    files = read_sources(root)
    public = public_headers(files)
    body = functions(root)
    motion = {path: text for path, text in files.items() if path.startswith("src/motion/")}
    code = {path: text.count("\n") for path, text in files.items() if path.startswith(("include/", "src/", "examples/", "bench/"))}
    steps = sorted({f"{module.split('/')[0]} -> {below.split('/')[0]}" for module, all_ in modules(files).items()
                    for below in all_ if module.split("/")[0] != below.split("/")[0]})
    listed = {
        "public headers": public,
        "public names": public_names(root, files),
        "headers over 250 lines": [f"{path}: {code[path]}" for path in code
                                   if path.endswith(".hpp") and path.startswith("include/") and code[path] > 250],
        "headers that a recording's motion brings (artery_motion.hpp)":
            sorted(brought_by("echosieve/motion/artery_motion.hpp", files)),
        "headers that following it brings (track_artery.hpp)":
            sorted(brought_by("echosieve/motion/track_artery.hpp", files)),
        "steps between rooms": steps,
        "circles of modules": [", ".join(members) for members in circles(files)],
        f"functions over {LONG} lines": [f"{lines} {name}" for lines, _, name in sorted(body, reverse=True) if lines > LONG],
        f"functions of over {PARAMETERS} parameters":
            [f"{count} {name}" for _, count, name in sorted(body, key=lambda one: -one[1]) if count > PARAMETERS],
        "numbers without a name in the motion room":
            [f"{path}:{line}: {number}" for path, text in motion.items() for line, number in unnamed_numbers(text)],
        "constants of the motion room that are named twice": named_twice(motion),
    }
    result = {name: (len(lines), lines) for name, lines in listed.items()}
    result["lines of code"] = (sum(code.values()), [])
    return result


def main():
    parser = argparse.ArgumentParser(description="Counts what makes the house hard to live in.")
    parser.add_argument("--root", type=pathlib.Path, required=True)
    parser.add_argument("--list", action="store_true", help="name what is counted")
    arguments = parser.parse_args()
    grown = 0
    print(f"{'':62}{'before':>8}{'now':>8}{'limit':>8}")
    for name, (number, lines) in counts(arguments.root).items():
        before, limit = LIMITS[name]
        past = limit is not None and number > limit
        grown += past
        print(f"{name:62}{before:8}{number:8}{'' if limit is None else limit:8}{'  GROWN' if past else ''}")
        if arguments.list or past:
            print("".join(f"    {line}\n" for line in lines), end="")
    return 1 if grown else 0


if __name__ == "__main__":
    sys.exit(main())
