#!/usr/bin/env bash
# Runs clang-tidy over the library's sources and the example programs, and over the headers through them.
#   bash tests/tidy.sh             all of them
#   bash tests/tidy.sh FILE...     these, or all in these folders
# The checks, and why others are left out, stand in .clang-tidy.
set -euo pipefail
# shellcheck source=.ci/setup.sh
source "$(dirname "${BASH_SOURCE[0]}")/../.ci/setup.sh"
cd "${repository}"
need_packages "${packages_build[@]}" "${packages_examples[@]}" "${packages_ci[@]}" clang-tidy-16
# Nothing is built: what is needed is how each file would be compiled.
configure --preset clang -DCMAKE_EXPORT_COMPILE_COMMANDS=ON
[[ $# -gt 0 ]] || set -- src examples
# The longest first: the last ones to be begun should not be those that take longest.
mapfile -t files < <(find "$@" -name '*.cpp' -printf '%s %p\n' | sort -rn | cut -d' ' -f2)
step "clang-tidy, ${#files[@]} files"
printf '%s\n' "${files[@]}" | xargs -P "$(jobs)" -n 1 clang-tidy-16 -p build/clang --quiet 2>&1 |
    sed '/ warnings generated\.$/d'  # of other people's headers, and never shown
