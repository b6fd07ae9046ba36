#!/usr/bin/env bash
# Builds the library and a small program for 64-bit Arm, runs it under an emulator, and compares its digits with those
# of the same program on this machine. By hand: minutes of compiling. Debian 12 or Ubuntu 24.04, as root or with sudo.
#   bash tests/aarch64.sh
set -euo pipefail
# shellcheck source=.ci/setup.sh
source "$(dirname "${BASH_SOURCE[0]}")/../.ci/setup.sh"
cd "${repository}"
[[ $# -eq 0 ]] || fail "unknown option '$1'; there is none"
need_packages "${packages_build[@]}" g++-aarch64-linux-gnu qemu-user

# This machine's headers of Eigen and xsimd are for every processor, but their folder holds its own C library's too: a
# folder that holds those two alone.
headers=build/aarch64_headers
mkdir -p "${headers}"
link_headers() { # package, a header of it
    ln -sfn "$(dirname "$(dpkg -L "$1" | grep "$2\$")")" "${headers}/$(basename "$(dirname "$2")")"
}
link_headers libeigen3-dev Eigen/Core
link_headers libxsimd-dev xsimd/xsimd.hpp

# Products and sums rounded one by one, as this machine's baseline does.
options=(-G Ninja -DCMAKE_BUILD_TYPE=Release "-DCMAKE_CXX_FLAGS_RELEASE=-O2 -DNDEBUG" \
    -DCMAKE_DISABLE_FIND_PACKAGE_nlohmann_json=ON)
step "Building for this machine"
configure -S tests/aarch64 -B build/aarch64_native "${options[@]}" "-DCMAKE_CXX_FLAGS=-ffp-contract=off"
build build/aarch64_native digits
step "Building for 64-bit Arm"
configure -S tests/aarch64 -B build/aarch64 "${options[@]}" -DCMAKE_SYSTEM_NAME=Linux -DCMAKE_SYSTEM_PROCESSOR=aarch64 \
    -DCMAKE_CXX_COMPILER=aarch64-linux-gnu-g++ \
    -DCMAKE_EXE_LINKER_FLAGS=-static \
    "-DECHOSIEVE_PLAIN_HEADERS=${repository}/${headers}" \
    "-DCMAKE_CXX_FLAGS=-ffp-contract=off -isystem ${repository}/${headers}"
build build/aarch64 digits
step "Running both"
build/aarch64_native/digits >build/aarch64_native/digits.txt
qemu-aarch64 build/aarch64/digits >build/aarch64/digits.txt
if ! diff build/aarch64_native/digits.txt build/aarch64/digits.txt; then
    fail "digits differ: < this machine's, > those of 64-bit Arm"
fi
step "$(wc -l <build/aarch64/digits.txt) lines, the same to the last digit"
