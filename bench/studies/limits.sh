#!/usr/bin/env bash
# Writes docs/limits.md, its pictures and docs/planning.md: errors of the library's estimates beside the least
# possible ones (limits_study), samples in double and in float, and what precision a sensor allows.
# usage: bash bench/studies/limits.sh [trials a point, 8000]
set -euo pipefail
# shellcheck source=.ci/setup.sh
source "$(dirname "${BASH_SOURCE[0]}")/../../.ci/setup.sh"
cd "${repository}"
trials=${1:-8000}
need_packages "${packages_build[@]}" "${packages_examples[@]}"
configure -S . -B build/examples -G Ninja -DCMAKE_BUILD_TYPE=Release -DECHOSIEVE_BUILD_TESTS=OFF
build build/examples limits_study plan_measurement
study=build/examples/bench/studies/limits_study
scratch=$(mktemp -d)
trap 'rm -rf "${scratch}"' EXIT
threads=$(nproc)
"${study}" --trials "${trials}" --threads "${threads}" --columns "${scratch}" >"${scratch}/double.md"
"${study}" --trials "${trials}" --threads "${threads}" --gates 500 --float >"${scratch}/float.md"
mkdir -p docs/pictures
gnuplot <<PLOT
set datafile separator ','
set terminal pngcairo size 1100,640 font 'sans,13'
set output 'docs/pictures/limits_one_echo.png'
set xlabel 'peak over standard deviation of the noise [dB]'
set ylabel 'rms error over its Cramér-Rao bound'
set title 'One echo, 4 MHz, 1 MHz bandwidth, five parameters unknown'
set yrange [0:2.4]
set grid
set key top right
plot 1 notitle lc rgb '#888888' dt 2, \
    '${scratch}/one_echo.csv' every ::1 using 1:2 with linespoints lw 2 pt 7 title 'arrival', \
    '' every ::1 using 1:3 with linespoints lw 2 pt 5 title 'centre frequency', \
    '' every ::1 using 1:4 with linespoints lw 2 pt 9 title 'bandwidth', \
    '' every ::1 using 1:5 with linespoints lw 2 pt 11 lc rgb '#aa3377' title 'phase'
set output 'docs/pictures/limits_overlap.png'
set title 'First of two overlapping echoes: bound (lines) and rms error (points)'
set xlabel 'separation [us]'
set ylabel 'arrival [ns]'
set logscale y
set yrange [1:100]
plot '${scratch}/known_shapes.csv' every ::1::4 using 2:3 with lines lw 2 lc 1 title 'shape known, 20 dB', \
    '' every ::1::4 using 2:(column(3)*column(4)) with points pt 7 lc 1 notitle, \
    '' every ::5 using 2:3 with lines lw 2 lc 2 title 'shape known, 30 dB', \
    '' every ::5 using 2:(column(3)*column(4)) with points pt 7 lc 2 notitle, \
    '${scratch}/shared_shapes.csv' every ::1::4 using 2:3 with lines lw 2 dt 2 lc 3 title 'shape shared by 100 frames, 20 dB', \
    '' every ::1::4 using 2:(column(3)*column(4)) with points pt 6 ps 1.6 lc 3 notitle, \
    '' every ::5 using 2:3 with lines lw 2 dt 2 lc 4 title 'shape shared by 100 frames, 30 dB', \
    '' every ::5 using 2:(column(3)*column(4)) with points pt 6 ps 1.6 lc 4 notitle
PLOT
{
    cat <<TEXT
# Estimates beside their limits

Written by \`bash bench/studies/limits.sh\`: ${trials} trials a point, fixed seeds. Real samples at 125 MHz, an echo of 4 MHz
and 1 MHz bandwidth (-6 dB) in white noise; signal to noise: its peak over the noise's standard deviation in a sample,
before any filter. The entries are rms errors over the Cramér-Rao bound, with the half width of their 95 % interval.
Then the worst of all columns: bias over the bound, and the part of the errors within 1 and 1.96 of the *reported*
standard deviations, [%], 68.3 and 95.0 if these are honest. An outlier is an arrival more than 0.5 us off (one echo) or
more than half a period off. An rms below the bound at a low ratio is bias: phases live on a circle, parameters in a box.

![One echo](pictures/limits_one_echo.png)
![Two overlapping echoes](pictures/limits_overlap.png)
TEXT
    cat "${scratch}/double.md"
    echo
    echo "# Samples in single precision"
    echo
    echo "The same, samples in float and echoes found in float; their fit takes float samples and computes in double. The"
    echo "samples' rounding, 6e-8 of the peak, is far below the noise, so float is enough for samples at any of these"
    echo "ratios. It is not enough for times: an arrival of 20 us in float is rounded by up to 9e-13 s, 2e-5 rad at 4 MHz,"
    echo "which is why grids and fits keep time in double (at 40 dB the bound of a delay is 9e-11 s: harmless there, but"
    echo "not after averaging 10,000 frames)."
    cat "${scratch}/float.md"
} >"${scratch}/limits.md"
build/examples/examples/plan_measurement >"${scratch}/planning.md"
mv "${scratch}/limits.md" docs/limits.md
mv "${scratch}/planning.md" docs/planning.md
echo "docs/limits.md, docs/planning.md and docs/pictures/limits_*.png are written"
