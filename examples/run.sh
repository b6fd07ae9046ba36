#!/usr/bin/env bash
# Sets up, builds two programs and what they need, and runs the main job: makes a recording with known truth, follows
# both artery walls through it, draws the pictures. Says how long it took. Debian 12 or Ubuntu 24.04, as root or with sudo.
#   bash examples/run.sh
set -euo pipefail
# shellcheck source=.ci/setup.sh
source "$(dirname "${BASH_SOURCE[0]}")/../.ci/setup.sh"
cd "${repository}"
[[ $# -eq 0 ]] || fail "unknown option '$1'; for your own file run build/examples/examples/track_artery --help"

need_packages "${packages_build[@]}" "${packages_examples[@]}"
step "Building make_recording and track_artery in build/examples"
configure -S . -B build/examples -G Ninja -DCMAKE_BUILD_TYPE=Release -DECHOSIEVE_BUILD_TESTS=OFF -DECHOSIEVE_UNITY=ON
build build/examples make_recording track_artery

mkdir -p demo
step "Making the recording demo/recording.npy"
build/examples/examples/make_recording demo/recording.npy
step "Following the artery walls"
build/examples/examples/track_artery demo/recording.npy --out demo

step "Done in $((SECONDS / 60)) min $((SECONDS % 60)) s"
echo "Pictures:"
ls demo/*.png
echo "Tables, settings and wall echoes: demo/motion.csv, demo/summary.json, demo/wall_echoes.npy"
echo "Your own file: build/examples/examples/track_artery NAME.npy --out FOLDER"
echo "The other example programs: cmake --build build/examples"
echo "Research use, not a medical device, not for diagnosis."
