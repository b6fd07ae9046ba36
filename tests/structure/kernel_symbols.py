"""Reports symbols by which the linker could let code of one instruction set into another's.

An object of a kernel may define, for others to see, nothing but functions of its own set's namespace, and nothing
that is merged with definitions elsewhere (weak and unique symbols: inline functions, templates).

    python3 kernel_symbols.py --nm NM --set SET OBJECT...      report, status 1 if anything is wrong
"""

import argparse
import subprocess
import sys

LOCAL = set("abdrtnN")  # of the object alone, or no code
MERGED = set("WwVvu")


def violations(listing, name):
    """What is wrong in the listing of `nm --demangle --defined-only` of an object of the set `name`."""
    found = []
    functions = 0
    for line in listing.splitlines():
        parts = line.split(maxsplit=2)
        if len(parts) != 3:
            continue
        kind, symbol = parts[1], parts[2]
        if kind in MERGED:
            found.append(f"merged by the linker: {symbol}")
        elif kind not in LOCAL:
            if kind == "T" and symbol.startswith(f"echosieve::kernels::{name}::"):
                functions += 1
            else:
                found.append(f"outside echosieve::kernels::{name}: {symbol}")
    if functions == 0:
        found.append("no kernel in it")
    return found


def main():
    parser = argparse.ArgumentParser(description="Checks the symbols of the kernels' objects.")
    parser.add_argument("--nm", required=True)
    parser.add_argument("--set", required=True)
    parser.add_argument("objects", nargs="+")
    arguments = parser.parse_args()
    found = []
    for path in arguments.objects:
        listing = subprocess.run([arguments.nm, "--demangle", "--defined-only", path], check=True,
                                 capture_output=True, text=True).stdout
        found += [f"{path}: {line}" for line in violations(listing, arguments.set)]
    for line in found:
        print(line)
    print(f"{len(found)} violations in {len(arguments.objects)} objects")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
