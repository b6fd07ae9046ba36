#!/usr/bin/env bash
# Sets up, builds and runs the tests. Debian 12 or Ubuntu 24.04, as root or with sudo.
#   bash tests/run.sh        the tests, as every day: without those that take half a minute to minutes
#   bash tests/run.sh --ci   the whole matrix: g++ and clang with warnings as errors, sanitisers, fuzzing, format, every
#                            header alone, reference values made anew, benches tried
set -euo pipefail
# shellcheck source=.ci/setup.sh
source "$(dirname "${BASH_SOURCE[0]}")/../.ci/setup.sh"
cd "${repository}"

run_ctest() {
    ctest --test-dir "$1" --output-on-failure --no-tests=error --parallel "$(jobs)" "${@:2}"
}

everyday() {
    need_packages "${packages_build[@]}" "${packages_tests[@]}"
    step "Building the tests in build/tests"
    configure -S . -B build/tests -G Ninja -DCMAKE_BUILD_TYPE=Release "-DCMAKE_CXX_FLAGS_RELEASE=-O2 -DNDEBUG" \
        -DECHOSIEVE_BUILD_BENCH=OFF -DECHOSIEVE_UNITY=ON
    build build/tests
    step "Running the tests"
    run_ctest build/tests
}

check_format() {
    step "Format"
    find include src tests examples bench \( -name '*.hpp' -o -name '*.cpp' \) -print0 |
        xargs -0 clang-format-16 --dry-run --Werror
}

whole_matrix() {
    need_packages "${packages_build[@]}" "${packages_examples[@]}" "${packages_tests[@]}" "${packages_ci[@]}"
    check_format
    step "g++, Release, warnings as errors"
    # Sources together, for the time; each by itself is compiled for the sanitisers.
    configure --preset release -DECHOSIEVE_WARNINGS_AS_ERRORS=ON -DECHOSIEVE_LONG_TESTS=ON -DECHOSIEVE_UNITY=ON \
        "-DCMAKE_CXX_FLAGS_RELEASE=-O2 -DNDEBUG"
    build build/release
    run_ctest build/release
    step "Benches, tried"
    build/release/bench/bench_echosieve --benchmark_min_time=0
    build/release/bench/optimisers/bench_optimisers --benchmark_min_time=0
    step "clang: every header alone, and the programs"
    configure --preset clang
    build build/clang all_verify_interface_header_sets programs
    step "clang, warnings as errors, address and undefined-behaviour sanitisers"
    configure --preset sanitise
    build build/sanitise tested
    # Consumers and reference scripts show nothing that the other build did not. What runs whole programs has limits of
    # time that are those of an optimised build.
    UBSAN_OPTIONS=print_stacktrace=1 run_ctest build/sanitise --label-exclude 'consumer|reference' \
        --exclude-regex '^(program|snippets): '
    # By the same objects. Longer runs are for one's own machine: tests/fuzz/run.sh --long.
    bash tests/fuzz/run.sh --tree build/sanitise 60
    step "Thread sanitiser"
    configure --preset tsan
    build build/tsan test_threads
    build/tsan/tests/test_threads
}

case "${1:-}" in
    "") everyday ;;
    --ci) whole_matrix ;;
    *) fail "unknown option '$1'; there is --ci" ;;
esac
step "All passed in $((SECONDS / 60)) min $((SECONDS % 60)) s"
