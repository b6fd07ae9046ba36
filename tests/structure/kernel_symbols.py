"""Reports symbols by which the linker could let code of one instruction set into another's.

An object of a kernel may define, for others to see, nothing but functions of its own set's namespace, and nothing
that is merged with definitions elsewhere (weak and unique symbols: inline functions, templates), unless its name has in
it the name that xsimd's namespace has in this set.

    python3 kernel_symbols.py --nm NM --set SET OBJECT...      report, status 1 if anything is wrong
"""

from symbols import defined, listing_of, report

LOCAL = set("abdrtnN")  # of the object alone, or no code
MERGED = set("WwVvu")
# Where the function lies that unwinds, and clang's call of std::terminate: no registers in them.
HARMLESS = {"DW.ref.__gxx_personality_v0", "__clang_call_terminate"}


def violations(listing, name):
    """What is wrong in the listing of `nm --demangle --defined-only` of an object of the set `name`."""
    found = []
    functions = 0
    for kind, symbol in defined(listing):
        if symbol in HARMLESS or kind != "u" and kind in MERGED and f"echosieve_xsimd_{name}::" in symbol:
            continue
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


if __name__ == "__main__":
    report("Checks the symbols of the kernels' objects.",
           lambda parser: parser.add_argument("--set", required=True),
           lambda arguments, path: violations(listing_of(arguments.nm, path), arguments.set))
