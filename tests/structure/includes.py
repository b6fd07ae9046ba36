"""Which file includes which, and what may: arrows between rooms, stairs inside the motion room, circles of modules."""

import pathlib
import posixpath
import re

# Each room with the rooms that it hangs on directly; what those hang on is open to it as well. The motion room is
# compiled in rooms of its own, one flight of stairs.
ARROWS = {
    "core": [],
    "atoms": ["core"],
    "optimise": ["core"],
    "condition": ["core"],
    "kernels": ["core"],
    "dictionary": ["atoms"],
    "correlate": ["atoms"],
    "pursuit": ["dictionary", "optimise", "kernels"],
    "motion": ["pursuit", "correlate", "condition"],
    "motion/kernels": ["motion"],
    "motion/line": ["motion/kernels"],
    "motion/courses": ["motion/line"],
    "motion/layers": ["motion/courses"],
    "motion/wall": ["motion/layers"],
    "motion/follow": ["motion/wall"],
    "synthesis": ["atoms"],
    "io": ["atoms"],
}

UMBRELLA = "include/echosieve/echosieve.hpp"
USERS = ("examples/", "tests/consumer/", "tests/snippets/")
SOURCES = {".hpp", ".cpp"}
INCLUDE = re.compile(r'^\s*#\s*include\s*(["<])([^">]+)[">]', re.MULTILINE)


def is_source(path):
    return pathlib.PurePosixPath(path).suffix in SOURCES


def reachable(room):
    """The rooms that `room` may include, itself among them."""
    found = {room}
    for below in ARROWS[room]:
        found |= reachable(below)
    return found


def room_of(path):
    """The room of a file of the library, or None: include/echosieve/<room>/..., src/<room>/..., src/motion/<room>/..."""
    parts = pathlib.PurePosixPath(path).parts
    if parts[:2] == ("include", "echosieve") and len(parts) > 3:
        return parts[2]
    if parts[0] == "src" and len(parts) > 2:
        return "/".join(parts[1:-1])
    return None


def target_of(path, bracket, name, files):
    """The file of the tree that an include means, or None: by the folders of the headers, then beside the file."""
    beside = posixpath.normpath(posixpath.join(posixpath.dirname(path), name))
    for target in (f"include/{name}", f"src/{name}", beside if bracket == '"' else ""):
        if target in files:
            return target
    return None


def includes(path, files):
    """(bracket, name, file or None) of each include of `path`."""
    return [(bracket, name, target_of(path, bracket, name, files)) for bracket, name in INCLUDE.findall(files[path])]


def check_includes(files):
    """Arrows, path form, existence and the umbrella, include by include."""
    for path in filter(is_source, files):
        room = room_of(path)
        if room is not None and room not in ARROWS:
            yield f"{path}: the room '{room}' is not in the plan of the rooms"
            continue
        for bracket, name, target in includes(path, files):
            if target == UMBRELLA and not path.startswith(USERS):
                yield f"{path}: includes the umbrella header, which is for users"
            if not name.startswith("echosieve/") and path.startswith("include/") and bracket == '"':
                yield f"{path}: includes \"{name}\", write the path from echosieve/ on"
                continue
            ours = name.startswith("echosieve/") or (bracket == '"' and path.startswith("src/"))
            if target is None and ours:
                yield f"{path}: includes {name}, which does not exist"
            other = room_of(target) if target else None
            if room is not None and other is not None and other not in reachable(room):
                yield f"{path}: the room '{room}' may not include '{other}' ({name})"


def module_of(path):
    """A header and its body are one module, in a room or one of its rooms: what the one includes, the other has."""
    return room_of(path).split("/")[0] + "/" + pathlib.PurePosixPath(path).stem


def modules(files):
    """Module -> the other modules that its header or its body includes."""
    graph = {}
    for path in filter(is_source, files):
        if room_of(path) is None:
            continue
        below = graph.setdefault(module_of(path), set())
        for _, _, target in includes(path, files):
            if target and room_of(target) is not None and module_of(target) != module_of(path):
                below.add(module_of(target))
    return graph


def circles(files):
    """Each set of modules that include each other, header or body, by way of others or at once (Tarjan 1972)."""
    graph = modules(files)
    number, low, stack, found = {}, {}, [], []

    def visit(module):
        number[module] = low[module] = len(number)
        stack.append(module)
        for below in sorted(graph[module]):
            if below not in number:
                visit(below)
                low[module] = min(low[module], low[below])
            elif below in stack:
                low[module] = min(low[module], number[below])
        if low[module] == number[module]:
            members = stack[stack.index(module):]
            del stack[stack.index(module):]
            if len(members) > 1:
                found.append(sorted(members))

    for module in sorted(graph):
        if module not in number:
            visit(module)
    return found


def check_circles(files):
    for path in filter(is_source, files):
        if any(target == path for _, _, target in includes(path, files)):
            yield f"{path}: includes itself"
    for members in circles(files):
        yield f"{', '.join(members)}: these modules include each other in a circle"


def public_headers(files):
    """What a user includes, as the user writes it: headers outside the rooms' detail/."""
    return sorted(path[len("include/"):] for path in files if path.startswith("include/echosieve/")
                  and path != UMBRELLA and "/detail/" not in path)


def brought_by(header, files):
    """All headers of the library that `header` brings, itself not counted."""
    found, left = set(), [f"include/{header}"]
    while left:
        for _, _, target in includes(left.pop(), files):
            if target and target not in found:
                found.add(target)
                left.append(target)
    return found
