# shellcheck shell=bash
# Shared by the scripts that a person runs: packages, and a build that shows what it does. Bash; sourced.
# shellcheck disable=SC2034  # the lists are for the scripts that source this file

# The folder that holds the repository.
repository="$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)"

# What every build needs, and what each script needs beyond it.
packages_build=(g++ cmake ninja-build libeigen3-dev libxsimd-dev nlohmann-json3-dev)
packages_examples=(libcli11-dev gnuplot-nox fonts-dejavu-core)
packages_tests=(libboost-math-dev doctest-dev libcli11-dev python3 python3-numpy python3-scipy
                python3-sklearn universal-ctags)
packages_optimisers=(libnlopt-dev libpagmo-dev libdlib-dev libceres-dev libgsl-dev)
packages_ci=(clang-16 clang-format-16 libclang-rt-16-dev libbenchmark-dev)

step() {
    printf '\n== %s [%d:%02d]\n' "$*" $((SECONDS / 60)) $((SECONDS % 60))
}

fail() {
    printf 'error: %s\n' "$*" >&2
    exit 1
}

is_debian_family() {
    [[ -r /etc/os-release ]] && command -v dpkg-query >/dev/null && command -v apt-get >/dev/null &&
        (. /etc/os-release && [[ " ${ID:-} ${ID_LIKE:-} " == *" debian "* || " ${ID:-} " == *" ubuntu "* ]])
}

# need_packages NAME...: installs those that are missing, or names them and stops.
# ECHOSIEVE_SKIP_SETUP=1 takes it that everything is there already, for machines of another kind.
need_packages() {
    if [[ "${ECHOSIEVE_SKIP_SETUP:-0}" == 1 ]]; then
        return
    fi
    if ! is_debian_family; then
        printf 'This script installs packages on Debian and Ubuntu only. Needed here, by their Debian names:\n' >&2
        printf '  %s\n' "$*" >&2
        printf 'If they are there, run it again with ECHOSIEVE_SKIP_SETUP=1.\n' >&2
        exit 1
    fi
    local name missing=()
    for name in "$@"; do
        if [[ "$(dpkg-query -W -f='${db:Status-Status}' "${name}" 2>/dev/null)" != installed ]]; then
            missing+=("${name}")
        fi
    done
    if [[ ${#missing[@]} -eq 0 ]]; then
        return
    fi
    local as_root=()
    if [[ "$(id -u)" -ne 0 ]]; then
        command -v sudo >/dev/null ||
            fail "these packages are missing, and this is neither root nor a machine with sudo: ${missing[*]}"
        as_root=(sudo)
    fi
    step "Installing: ${missing[*]}"
    "${as_root[@]}" apt-get update -q || printf 'apt-get update failed; going on with the lists at hand\n' >&2
    "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends \
        "${missing[@]}" || fail "apt-get could not install: ${missing[*]}"
}

# Processes for a build: one a core, but no more than a gigabyte of free memory each allows.
jobs() {
    local cores gigabytes
    cores="$(nproc)"
    gigabytes="$(awk '/^MemAvailable/ {print int($2 / 1048576)}' /proc/meminfo 2>/dev/null)"
    if [[ -n "${gigabytes}" && "${gigabytes}" -lt "${cores}" ]]; then
        cores=$((gigabytes > 0 ? gigabytes : 1))
    fi
    echo "${cores}"
}

# Runs CMake's configuration, silent unless it fails: its lines say nothing that a user needs.
configure() {
    local log launcher=()
    if command -v ccache >/dev/null; then
        launcher=(-DCMAKE_CXX_COMPILER_LAUNCHER=ccache)
    fi
    if ! log="$(cd "${repository}" && cmake "${launcher[@]}" "$@" 2>&1)"; then
        printf '%s\n' "${log}" >&2
        fail "cmake could not configure the build"
    fi
}

# build FOLDER [TARGET...]
build() {
    local folder="$1"
    shift
    cmake --build "${folder}" --parallel "$(jobs)" ${1:+--target "$@"} || fail "the build in ${folder} failed"
}
