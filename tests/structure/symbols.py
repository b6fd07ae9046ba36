"""What objects and libraries show to the linker, by nm."""

import argparse
import re
import subprocess
import sys


def defined(listing):
    """Pairs of kind and symbol from a listing of `nm --demangle --defined-only`."""
    for line in listing.splitlines():
        parts = line.split(maxsplit=2)
        if len(parts) == 3 and re.fullmatch(r"[0-9a-f]+", parts[0]):
            yield parts[1], parts[2]


def listing_of(nm, path, *options):
    return subprocess.run([nm, "--demangle", "--defined-only", *options, path], check=True, capture_output=True,
                          text=True).stdout


def report(description, declare, violations):
    """A program that prints what violations(arguments, path) finds in each file named; its status is 1 if that is any.

    `declare` adds the program's own arguments to a parser."""
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("--nm", required=True)
    declare(parser)
    parser.add_argument("files", nargs="+")
    arguments = parser.parse_args()
    found = [f"{path}: {line}" for path in arguments.files for line in violations(arguments, path)]
    for line in found:
        print(line)
    print(f"{len(found)} violations in {len(arguments.files)} files")
    sys.exit(1 if found else 0)
