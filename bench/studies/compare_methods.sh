#!/usr/bin/env bash
# Compares the library's way with the customary ones on synthetic recordings, and writes docs/comparison.md
# with its pictures in docs/pictures. Five minutes on one core; the numbers don't depend on the machine's cores.
#   bash bench/studies/compare_methods.sh [options of compare_methods]
set -euo pipefail
# shellcheck source=.ci/setup.sh
source "$(dirname "${BASH_SOURCE[0]}")/../../.ci/setup.sh"
cd "${repository}"
need_packages "${packages_build[@]}" "${packages_examples[@]}"
configure -S . -B build/examples -G Ninja -DCMAKE_BUILD_TYPE=Release -DECHOSIEVE_BUILD_TESTS=OFF
build build/examples compare_methods
build/examples/bench/studies/compare_methods --out docs --threads "$(nproc)" "$@"
