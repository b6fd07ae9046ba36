"""Holds DEVELOPERS.md against the sources: its picture of the house, and its walk of a frame."""

import re

from includes import ARROWS

GUIDE = "DEVELOPERS.md"
# A row of the picture: rooms that stand on the same others; stairs, if it has any, between bars.
ROW = re.compile(r"^    ([a-z ]+?)\s*(?:\|([^|]*)\|)?\s+on ([a-z, ]+)$", re.MULTILINE)
# A row of the walk: | number | `function` | `file` | ...
STEP = re.compile(r"^\| \d+ \| `(\w+)` \| `([^`]+)` \|", re.MULTILINE)
# From the file to the tables: a frame never comes back to a room that it has left.
WAY = ["src/io", "include/echosieve/condition", "src/motion/line", "src/motion/courses", "src/motion/layers",
       "src/motion/wall", "src/motion/follow", "examples"]


def section(text, title):
    """What stands under a heading, to the next of its kind."""
    found = re.search(rf"^## {title}\n(.*?)(?=^## |\Z)", text, re.MULTILINE | re.DOTALL)
    return found.group(1) if found else ""


def drawn(text):
    """The arrows that the picture shows, in the form of ARROWS."""
    arrows = {}
    for rooms, stairs, below in ROW.findall(section(text, "The house")):
        on = [] if below == "nothing" else below.split(", ")
        for room in rooms.split():
            arrows[room] = on
        steps = stairs.split("<-") if stairs else []
        for step, lower in zip(steps, [None, *steps]):
            arrows[f"{rooms}/{step.strip()}"] = [rooms if lower is None else f"{rooms}/{lower.strip()}"]
    return arrows


def check_picture(text):
    shown = drawn(text)
    for room in sorted(ARROWS.keys() | shown.keys()):
        if shown.get(room) != ARROWS.get(room):
            yield f"{GUIDE}: the picture shows '{room}' on {shown.get(room)}, the plan says {ARROWS.get(room)}"


def check_walk(text, files):
    steps = STEP.findall(section(text, "The walk of a frame"))
    if not steps:
        yield f"{GUIDE}: there is no walk of a frame"
    furthest = 0
    for function, path in steps:
        if not re.search(rf"\b{function}\(", files.get(path, "")):
            yield f"{GUIDE}: {path} has no {function}"
        room = next((number for number, folder in enumerate(WAY) if path.startswith(folder + "/")), None)
        if room is None or room < furthest:
            yield f"{GUIDE}: the step {function} returns to an earlier room, or to none: {path}"
        furthest = max(furthest, room or 0)


def check_guide(files):
    """The picture and the walk; a tree without the guide has neither."""
    if GUIDE in files:
        yield from check_picture(files[GUIDE])
        yield from check_walk(files[GUIDE], files)
