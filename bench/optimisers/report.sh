#!/usr/bin/env bash
# Compares the library's optimisers with those of other libraries and writes docs/optimisers.md, optimisers.csv and
# their pictures in docs/pictures. Up to ten minutes on two cores. The others' are optional: each that is installed
# takes part.
#   bash bench/optimisers/report.sh [seeds] [evaluations a run]
set -euo pipefail
# shellcheck source=.ci/setup.sh
source "$(dirname "${BASH_SOURCE[0]}")/../../.ci/setup.sh"
cd "${repository}"
need_packages "${packages_build[@]}" "${packages_optimisers[@]}" libbenchmark-dev gnuplot-nox fonts-dejavu-core
configure -S . -B build/optimisers -G Ninja -DCMAKE_BUILD_TYPE=Release -DECHOSIEVE_BUILD_TESTS=OFF \
    -DECHOSIEVE_BUILD_EXAMPLES=OFF -DECHOSIEVE_BUILD_BENCH=ON
build build/optimisers check_echo_fit check_run optimiser_report
build/optimisers/bench/optimisers/check_echo_fit
build/optimisers/bench/optimisers/check_run
build/optimisers/bench/optimisers/optimiser_report "${1:-25}" "${2:-20000}" docs
