"""Holds what the pages show against what is built and run.

Every block of code of a page, indented or fenced, must be marked regions of files in this folder, but for white
space and comment signs; every region must stand in a page. Commands within the text must name a program or script of
the repository, with options that it has.

    python3 check_pages.py --root DIR [--programs DIR]
"""

import argparse
import pathlib
import re
import subprocess
import sys

# Pages without code: formulas, and what a program printed.
WITHOUT_CODE = {
    "DEVELOPERS.md": "its blocks are a plan of the rooms",
    "docs/closed_forms.md": "its blocks are formulas",
    "docs/following_walls.md": "its blocks are formulas",
    "docs/layer_limits.md": "its blocks are formulas",
    "docs/performance.md": "its blocks are what bench/performance.py printed",
}
# What formulas and printed text never hold.
CODE = re.compile(r"#include|echosieve::|find_package|\);\s*$", re.MULTILINE)

REGION = re.compile(r"^[ \t]*(?://|#) \[([^\]\n]+)\]\n(.*?)^[ \t]*(?://|#) \[end\]$", re.MULTILINE | re.DOTALL)
SPAN = re.compile(r"`([^`\n]+)`")


def squeezed(text):
    """Without white space and the signs that comments begin with."""
    return re.sub(r"\s+|//|(?<![^\s])#(?= )", "", text)


def regions(root):
    """Name -> squeezed text of every marked region."""
    found = {}
    for path in sorted((root / "tests/snippets").iterdir()):
        if path.suffix not in (".cpp", ".sh", ".txt"):
            continue
        for name, text in REGION.findall(path.read_text(encoding="utf-8")):
            if name in found:
                raise SystemExit(f"{path.name}: the region '{name}' is there twice")
            found[name] = squeezed(text)
    return found


def blocks(text):
    """(line, text) of each indented or fenced block of a page."""
    out, block, fenced, start, before = [], [], False, 0, ""
    for number, line in enumerate(text.split("\n") + [""], 1):
        if line.startswith("```"):
            if fenced:
                out.append((start, "\n".join(block)))
            fenced, start, block = not fenced, number, []
        elif fenced or (line.startswith("    ") and (block or not before.strip() or before.startswith("#"))):
            start = start if block or fenced else number
            block.append(line)
        elif block and line.strip():
            out.append((start, "\n".join(block)))
            block = []
        before = line
    if block:
        out.append((start, "\n".join(block)))
    return out


def pages(root):
    return {path.relative_to(root).as_posix(): path.read_text(encoding="utf-8")
            for path in [root / "README.md", root / "DEVELOPERS.md", *sorted((root / "docs").glob("*.md"))]}


def made_of(block, known):
    """The names of the regions that the block is, one after the other, or None."""
    if not block:
        return []
    for name, region in known.items():
        if region and block.startswith(region):
            rest = made_of(block[len(region):], known)
            if rest is not None:
                return [name, *rest]
    return None


def check_blocks(texts, known):
    shown = set()
    for page, text in texts.items():
        for line, block in blocks(text):
            if page in WITHOUT_CODE:
                if CODE.search(block):
                    yield f"{page}:{line}: code in a page that is said to hold none: {WITHOUT_CODE[page]}"
                continue
            names = made_of(squeezed(block), known)
            shown.update(names or [])
            if names is None:
                yield f"{page}:{line}: no region of tests/snippets is this block: {block.strip().splitlines()[0]}"
    for name in known.keys() - shown:
        yield f"tests/snippets: the region '{name}' stands in no page"


def options_of(program):
    """The options that a program's help names, or None where it has no help."""
    asked = subprocess.run([program, "--help"], capture_output=True, text=True, timeout=60, check=False)
    return set(re.findall(r"--[a-z][a-z-]*", asked.stdout)) if asked.returncode == 0 else None


def commands_in(span, sources):
    """(program or script, its options) of each command of a line; a script with its path."""
    found = []
    words = span.split()
    for word, after in zip(words, [*words[1:], ""]):
        if word in ("bash", "python3"):
            found.append((after, []))
        elif word.rsplit("/", 1)[-1] in sources:
            found.append((word.rsplit("/", 1)[-1], []))
        elif word.startswith("--") and found:
            found[-1][1].append(word.split("=")[0])
        elif word in ("&&", "|", ";"):
            found.append((word, []))
    return found


def check_commands(root, texts, programs):
    """Programs and scripts that the text names in commands, and their options."""
    sources = {path.stem for folder in ("examples", "bench") for path in (root / folder).rglob("*.cpp")}
    helps = {}
    for page, text in texts.items():
        for span in SPAN.findall(text):
            for name, options in commands_in(span, sources):
                if re.search(r"\.(sh|py)$", name) and not (root / name).is_file():
                    yield f"{page}: `{span}`: there is no {name}"
                program = next((p / name for p in programs if (p / name).is_file()), None)
                if program is None or not options:
                    continue
                if name not in helps:
                    helps[name] = options_of(program)
                for option in options:
                    if helps[name] is not None and option not in helps[name]:
                        yield f"{page}: `{span}`: {name} has no option {option}"


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--root", type=pathlib.Path, required=True)
    parser.add_argument("--programs", type=pathlib.Path, action="append", default=[])
    arguments = parser.parse_args()
    texts = pages(arguments.root)
    wrong = [*check_blocks(texts, regions(arguments.root)),
             *check_commands(arguments.root, texts, arguments.programs)]
    for line in wrong:
        print(line)
    print(f"{len(wrong)} differences between {len(texts)} pages and what is built")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
