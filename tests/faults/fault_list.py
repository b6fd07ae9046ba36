"""The list of faults to plant: list/<room>.toml, read and checked."""

import dataclasses
import pathlib
import tomllib

ROOMS = ("core", "atoms", "kernels", "optimise", "dictionary", "pursuit", "correlate", "condition",
         "motion", "baselines", "synthesis", "io", "programs")
FEWEST = 120  # faults in all
PROGRAM_TEST = "ctest:"  # before the name of a test of programs


@dataclasses.dataclass(frozen=True)
class Fault:
    room: str
    id: str
    file: str  # from the root of the tree
    old: str  # stands in the file once
    new: str
    breaks: str  # what no longer works
    tests: tuple[str, ...]  # test files from tests/ on, or ctest:<name of a test of programs>[ --more]
    sources: tuple[str, ...] = ()  # what is compiled beside the tests, for a fault in a header
    programs: tuple[str, ...] = ()  # that the tests run, beside those made of the file itself
    reason: str = ""  # why it may survive; it counts as a survivor all the same

    @property
    def name(self):
        return f"{self.room}/{self.id}"


def read_list(folder):
    """All faults of list/*.toml in `folder`; ValueError for an entry that is none."""
    faults = []
    for path in sorted(pathlib.Path(folder).glob("*.toml")):
        with path.open("rb") as file:
            table = tomllib.load(file)
        if set(table) != {"fault"}:
            raise ValueError(f"{path.name}: holds {sorted(table)}, must hold [[fault]] alone")
        for entry in table["fault"]:
            known = {field.name for field in dataclasses.fields(Fault)} - {"room"}
            needed = known - {"sources", "programs", "reason"}
            if not needed <= set(entry) <= known:
                raise ValueError(f"{path.name}: an entry has {sorted(entry)}, must have "
                                 f"{sorted(needed)}")
            for key, value in entry.items():
                if isinstance(value, list):
                    entry[key] = tuple(value)
            faults.append(Fault(room=path.stem, **entry))
    return faults


def planted(text, fault):
    """The file's text with the fault in it; ValueError unless its old text is found once."""
    count = text.count(fault.old)
    if count != 1:
        raise ValueError(f"{fault.name}: the old text is found {count} times in {fault.file}")
    return text.replace(fault.old, fault.new)


def problems_of(fault, root):
    """What is wrong with one entry."""
    path = root / fault.file
    if not path.is_file():
        yield f"{fault.name}: there is no {fault.file}"
        return
    try:
        if planted(path.read_text(encoding="utf-8"), fault) == path.read_text(encoding="utf-8"):
            yield f"{fault.name}: the new text is the old one"
    except ValueError as error:
        yield str(error)
    if not fault.tests:
        yield f"{fault.name}: names no test"
    for test in fault.tests:
        if not test.startswith(PROGRAM_TEST) and not (root / "tests" / test).is_file():
            yield f"{fault.name}: there is no tests/{test}"
    for source in fault.sources:
        if not (root / source).is_file():
            yield f"{fault.name}: there is no {source}"


def problems(faults, root, rooms=ROOMS, fewest=FEWEST):
    """What is wrong with the list: nothing of it may rot while the sources change."""
    names = [fault.name for fault in faults]
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield f"{name}: stands in the list twice"
    for room in sorted({fault.room for fault in faults} - set(rooms)):
        yield f"{room}: is no room"
    for room in rooms:
        if not any(fault.room == room for fault in faults):
            yield f"{room}: has no fault"
    if len(faults) < fewest:
        yield f"the list holds {len(faults)} faults, must hold {fewest}"
    for fault in faults:
        yield from problems_of(fault, root)
