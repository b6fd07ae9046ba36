#!/usr/bin/env bash
# Tracks synthetic recordings of many settings and writes docs/accuracy.md: error against the truth, one row each.
#   bash bench/studies/accuracy.sh
set -euo pipefail
source "$(dirname "${BASH_SOURCE[0]}")/../../.ci/setup.sh"
cd "${repository}"
need_packages "${packages_build[@]}" "${packages_examples[@]}"
configure -S . -B build/examples -G Ninja -DCMAKE_BUILD_TYPE=Release -DECHOSIEVE_BUILD_TESTS=OFF
build build/examples make_recording track_artery compare_with_truth
programs=build/examples/examples
scratch="$(mktemp -d)"
trap 'rm -rf "${scratch}"' EXIT

settings=(
    "--seed 1" "--seed 2" "--seed 3" "--seed 4" "--seed 5" "--seed 6"
    "--seed 1 --clutter -12" "--seed 2 --clutter -12" "--seed 1 --clutter 0" "--seed 2 --clutter 0"
    "--seed 1 --snr 5" "--seed 2 --snr 5" "--seed 1 --snr 0" "--seed 2 --snr 0"
    "--seed 1 --heart-rate 50" "--seed 2 --heart-rate 120"
    "--seed 1 --distension 0.15e-3" "--seed 2 --distension 0.7e-3"
    "--seed 1 --dropped 0.02" "--seed 2 --dropped 0.02 --drop-kind noise"
    "--seed 1 --centre-frequency 7.5e6 --bandwidth 3e6" "--seed 2 --centre-frequency 7.5e6 --bandwidth 3e6"
)
{
    echo "# Error against the truth on synthetic recordings"
    echo
    echo "Written by \`bash bench/studies/accuracy.sh\`; settings are those of \`make_recording\`, the rest its defaults."
    echo "rms, mean removed, better of inner and outer layer, frames that were not dropped [um]; depth against the"
    echo "outer layer [mm]; distension is its error. \"not found\": no pair of walls was reported."
    echo
    echo "| setting | near wall | far wall | distension | near depth | far depth | valid |"
    echo "|---|---|---|---|---|---|---|"
} >"${scratch}/table.md"
for setting in "${settings[@]}"; do
    printf '%s\n' "${setting}"
    read -ra options <<<"${setting}"
    "${programs}/make_recording" "${scratch}/a.npy" "${options[@]}" >/dev/null 2>&1
    if "${programs}/track_artery" "${scratch}/a.npy" --out "${scratch}/out" --no-pictures --no-wall-echoes \
        >/dev/null 2>&1; then
        "${programs}/compare_with_truth" "${scratch}/out/motion.csv" "${scratch}/a.truth.csv" |
            awk -v setting="${setting}" '
                /^rms/ { gsub(",", ""); near = $5; far = $9; both = $12 }
                /^depth/ { gsub(",", ""); zn = $8; zf = $12 }
                /^valid/ { valid = $2 "/" $4 }
                END { printf "| %s | %s | %s | %s | %s | %s | %s |\n", setting, near, far, both, zn, zf, valid }' \
            >>"${scratch}/table.md"
    else
        echo "| ${setting} | not found | | | | | |" >>"${scratch}/table.md"
    fi
done
mv "${scratch}/table.md" docs/accuracy.md
cat docs/accuracy.md
