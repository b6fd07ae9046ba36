#!/usr/bin/env bash
# Builds the fuzz targets, with the library instrumented, and runs all of them, as many at a time as there are cores.
#   bash tests/fuzz/run.sh [SECONDS]       each target for so many seconds of a core, 60 if none are given; a finding is
#                                          status 1
#   bash tests/fuzz/run.sh --long [HOURS]  two hours of a core in all if none are given; goes on after a finding, and
#                                          writes its record as a table to build/fuzz/record.md
#   bash tests/fuzz/run.sh --tree FOLDER [SECONDS]  with the targets of a build tree that is there already, and the same
#                                          inputs each time, where nothing was learned before: what it finds is new
# What was found lies in build/fuzz/found/<target>/: run the target on such a file to see it again. What was learned
# lies in build/fuzz/corpus/, and is used by the next run; the seeds of the tree stay as they are.
set -euo pipefail
# shellcheck source=.ci/setup.sh
source "$(dirname "${BASH_SOURCE[0]}")/../../.ci/setup.sh"
cd "${repository}"

tree=build/fuzz
options=()
case "${1:-}" in
    --long)
        options=(--hours "${2:-2}" --table build/fuzz/record.md)
        ;;
    --tree)
        tree="$2"
        options=(--seconds "${3:-60}" --seed 1)
        ;;
    -*) fail "unknown option '$1'; there are --long and --tree" ;;
    *) options=(--seconds "${1:-60}") ;;
esac

need_packages "${packages_build[@]}" "${packages_ci[@]}"
if [[ "${tree}" == build/fuzz ]]; then
    step "Building the fuzz targets in build/fuzz"
    configure --preset fuzz
fi
build "${tree}" fuzzers
step "Fuzzing"
python3 tests/fuzz/run_targets.py --programs "${tree}/tests/fuzz" --work build/fuzz --jobs "$(nproc)" "${options[@]}"
