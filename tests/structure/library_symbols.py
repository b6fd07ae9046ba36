"""Reports what a compiled library shows beside what it means to show.

Whatever else the linker sees in it could be merged with code of a user's program, which is compiled with other flags:
inline functions and templates of Eigen's, of std's and of our own headers.

    python3 library_symbols.py --nm NM [--dynamic] LIBRARY...      report, status 1 if anything is wrong
"""

import re

from symbols import defined, listing_of, report

MEANT = re.compile(r"\[abi:this_program_needs_an_echosieve_library_of_version_"  # ECHOSIEVE_API
                   r"|^echosieve::(?:BlockTracker|FrameFollower)<(?:short|float)>::"
                   r"|^(?:vtable|typeinfo|typeinfo name) for echosieve::(?:InvalidInput|FileError)$"
                   # g++ shows these of std::thread whatever it is asked. They call by pointer alone: merged, they do
                   # the same.
                   r"|^(?:vtable|typeinfo|typeinfo name) for std::thread::_State_impl<std::thread::_Invoker<std::tuple<"
                   r"echosieve::detail::PartOfWork> > >$"
                   # The pursuits, which no file of another layout declares (pursuit/detail/compiled.hpp).
                   r"|^(?:\S+ )?(?:const& )?echosieve::(?:FastPursuit|GramPursuit)<\w+>::(?:\w+Pursuit|run)\("
                   r"|^echosieve::PursuitResult<.*> echosieve::pursue<")
# A shared library binds these to its own copies, though it shows them.
OF_STD = re.compile(r"^(?!.*\b(?:echosieve|Eigen)\b)(?:.* )?(?:std|__gnu_cxx)::")
UNIQUE = "u"  # merged even where it is hidden


def violations(listing, shared=False):
    """What is wrong in the listing of `nm --demangle --defined-only`, of what the linker sees."""
    found, meant = [], 0
    for kind, symbol in defined(listing):
        if kind == UNIQUE:
            found.append(f"unique in the whole program: {symbol}")
        elif MEANT.search(symbol):
            meant += 1
        elif not (shared and OF_STD.search(symbol)):
            found.append(f"shown to the linker: {symbol}")
    if meant == 0:
        found.append("shows nothing of ours")
    return found


if __name__ == "__main__":
    report("Checks what compiled libraries show.",
           lambda parser: parser.add_argument("--dynamic", action="store_true", help="shared libraries"),
           lambda arguments, path: violations(
               listing_of(arguments.nm, path, "--dynamic" if arguments.dynamic else "--extern-only"), arguments.dynamic))
