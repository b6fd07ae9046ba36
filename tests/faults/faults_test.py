"""Tests of what checks the list of faults, and of what decides whether one was noticed: on a tree of a few lines."""

import pathlib
import sys
import tempfile
import unittest

from fault_build import folder_of, run
from fault_list import Fault, problems, read_list
from faults import Planter, notice

ENTRY = """[[fault]]
id = "{id}"
file = "src/a.cpp"
old = "{old}"
new = "{new}"
breaks = "the sum"
tests = ["{test}"]
"""


class ListOfFaults(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.root = pathlib.Path(folder.name)
        for name in ("src", "tests/core", "list"):
            (self.root / name).mkdir(parents=True)
        (self.root / "src/a.cpp").write_text("int sum(int x) { return x + x + 1; }\n")
        (self.root / "tests/core/a_test.cpp").write_text("")

    def write(self, room="core", **changed):
        entry = {"id": "sum", "old": "+ 1", "new": "- 1", "test": "core/a_test.cpp", **changed}
        with (self.root / f"list/{room}.toml").open("a") as file:
            file.write(ENTRY.format(**entry))

    def found(self, rooms=("core",), fewest=1):
        return list(problems(read_list(self.root / "list"), self.root, rooms, fewest))

    def test_an_entry_that_fits(self):
        self.write()
        self.assertEqual(self.found(), [])

    def test_old_text_that_is_gone_or_there_twice(self):
        self.write(old="+ 2")
        self.write(id="twice", old="x +")
        self.assertEqual([line.split(": ")[1] for line in self.found()],
                         ["the old text is found 0 times in src/a.cpp", "the old text is found 2 times in src/a.cpp"])

    def test_a_fault_that_is_none(self):
        self.write(new="+ 1")
        self.assertIn("the new text is the old one", self.found()[0])

    def test_a_test_that_is_not_there(self):
        self.write(test="core/b_test.cpp")
        self.assertIn("there is no tests/core/b_test.cpp", self.found()[0])

    def test_a_name_used_twice(self):
        self.write()
        self.write()
        self.assertEqual(self.found(), ["core/sum: stands in the list twice"])

    def test_rooms_without_faults_and_faults_without_room(self):
        self.write(room="attic")
        self.assertEqual(self.found(), ["attic: is no room", "core: has no fault"])

    def test_too_few(self):
        self.write()
        self.assertIn("must hold 2", self.found(fewest=2)[0])

    def test_a_key_that_nobody_knows(self):
        self.write()
        with (self.root / "list/core.toml").open("a") as file:
            file.write('colour = "red"\n')
        with self.assertRaisesRegex(ValueError, "colour"):
            self.found()


class Notice(unittest.TestCase):
    def test_what_counts_as_caught(self):
        self.assertIsNone(notice(0, "all passed"))
        self.assertEqual(notice(None, ""), "hangs")
        self.assertEqual(notice(-11, "TEST CASE:  sums\n"), "crashes by signal 11 in 'sums'")
        self.assertEqual(notice(1, "TEST CASE:  sums\n"), "fails in 'sums'")

    def test_what_hangs_is_ended_with_all_that_it_started(self):
        status, output = run([sys.executable, "-c", "import subprocess; print('x', flush=True); "
                              "subprocess.run(['sleep', '60'])"], None, 2)
        self.assertIsNone(status)
        self.assertEqual(output, "x\n")


class UnnoticedPlanter(Planter):
    """Plants nothing: keeps which tests would have run, none of which takes notice."""

    def __init__(self, named_only):
        self.named_only = named_only
        self.ran = []

    def room_notices(self, fault, scratch, changed, target, tests):
        self.ran.append((target, tests))


class WhichTestsRun(unittest.TestCase):
    FAULT = Fault("core", "sum", "include/a.hpp", "+", "-", "the sum", ("core/a_test.cpp", "core/b_test.cpp"))

    def ran(self, named_only):
        planter = UnnoticedPlanter(named_only)
        self.assertEqual(planter.outcome_of(self.FAULT, None).kind, "survived")
        return planter.ran

    def test_those_named_and_then_their_room(self):
        named = [("tests/test_core", ("core/a_test.cpp",)), ("tests/test_core", ("core/b_test.cpp",))]
        self.assertEqual(self.ran(named_only=True), named)
        self.assertEqual(self.ran(named_only=False), [*named, ("tests/test_core", None)])


class Libraries(unittest.TestCase):
    def test_where_a_librarys_sources_are(self):
        self.assertEqual(folder_of("src/libechosieve_motion.a"), "src/motion/")
        self.assertEqual(folder_of("examples/libexamples_support.a"), "examples/support/")
        self.assertIsNone(folder_of("lib/libother.a"))


if __name__ == "__main__":
    unittest.main()
