"""Compiles the library's headers with the switch ECHOSIEVE_THREADS off: none of them may then need a thread.

    python3 without_threads.py --root DIR --compiler g++ [--include DIR ...]

The umbrella header must compile without any of the standard library's headers of threads, and a program without
the threads' library must do on its own thread all that it asks several for. With the switch on both must be otherwise:
else this shows nothing.
"""

import argparse
import pathlib
import subprocess
import sys
import tempfile

THREADS = {"thread", "mutex", "stop_token", "condition_variable", "future", "shared_mutex"}
PROGRAM = """#include "echosieve/core/threads.hpp"
#include <pthread.h>
int main() {
    const pthread_t self = pthread_self();
    int done = 0, caught = 0, elsewhere = 0;
    pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
    const auto count = [&] {
        pthread_mutex_lock(&lock);
        ++done;
        elsewhere += pthread_equal(self, pthread_self()) == 0;
        pthread_mutex_unlock(&lock);
    };
    echosieve::for_each_part(5, 4, [&](std::size_t first, std::size_t end) {
        for (; first < end; ++first) count();
    });
    echosieve::for_each_part(0, 4, [&](std::size_t, std::size_t) { done = 100; });
    echosieve::for_each_item(7, 3, [&](std::size_t) { count(); });
    try {
        echosieve::for_each_item(9, 2, [](std::size_t k) { if (k >= 4) throw k; });
    } catch (std::size_t k) {
        caught = static_cast<int>(k);
    }
    try {
        echosieve::for_each_part(1, 0, [](std::size_t, std::size_t) {});
    } catch (const echosieve::InvalidInput&) {
        caught += 100;
    }
    return done != 12 || caught != 104 ? 2 : elsewhere > 0 ? 1 : 0;
}
"""


def run(command):
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise SystemExit(f"{' '.join(map(str, command))}:\n{done.stderr[-3000:]}")
    return done.stdout


def names_of(compiler, source):
    """The names of all headers that a file includes, without compiling it."""
    text = run([*compiler, "-M", source]).split(":", 1)[1].replace("\\\n", " ")
    return {pathlib.PurePosixPath(word).name for word in text.split()}


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--root", type=pathlib.Path, required=True)
    parser.add_argument("--compiler", required=True)
    parser.add_argument("--include", type=pathlib.Path, action="append", default=[])
    arguments = parser.parse_args()
    base = [arguments.compiler, "-std=c++20", "-I", arguments.root / "include"]
    for folder in arguments.include:
        base += ["-isystem", folder]
    wrong = []
    with tempfile.TemporaryDirectory() as scratch:
        scratch = pathlib.Path(scratch)
        (scratch / "umbrella.cpp").write_text('#include "echosieve/echosieve.hpp"\n', encoding="utf-8")
        (scratch / "program.cpp").write_text(PROGRAM, encoding="utf-8")
        for switch in (0, 1):
            compiler = [*base, f"-DECHOSIEVE_THREADS={switch}"]
            found = THREADS & names_of(compiler, scratch / "umbrella.cpp")
            if bool(found) != bool(switch):
                wrong.append(f"ECHOSIEVE_THREADS={switch}: the umbrella header includes {sorted(found) or 'no thread'}")
            run([*compiler, scratch / "program.cpp", "-o", scratch / "program", *(["-pthread"] if switch else [])])
            status = subprocess.run([scratch / "program"], check=False).returncode
            if status != switch:
                wrong.append(f"ECHOSIEVE_THREADS={switch}: the program ends with {status}")
        run([*base, "-DECHOSIEVE_THREADS=0", "-fsyntax-only", scratch / "umbrella.cpp"])
    for line in wrong:
        print(line)
    print(f"{len(wrong)} things wrong without threads")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
