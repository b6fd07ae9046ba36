#!/usr/bin/env bash
# The commands that the pages show, run where they are cheap. Takes the folder of the example programs, that of the
# repository and a Python with NumPy, and works in the current folder.
#
# Shown as they are; here only that the scripts can be read, since CI runs the one and each build makes the other's
# programs:
# [two commands]
# bash examples/run.sh     # makes a synthetic recording, follows both walls, draws the pictures into demo/
# bash tests/run.sh        # builds and runs the tests (--ci: the whole matrix)
# [end]
# [your own recording]
# track_artery NAME.npy [--meta NAME.json] [--out DIR]
# track_artery LINE_1.npy LINE_2.npy ... [--out DIR]
# [end]
set -euo pipefail
PATH="$1:${PATH}"
repository="$2"
python="$3"

bash -n "${repository}/examples/run.sh"
bash -n "${repository}/tests/run.sh"
grep -q -- '--ci' "${repository}/tests/run.sh"

make_recording --seed 3 --seconds 2 --sampling-rate 20e6 --frame-rate 250 made.npy
"${python}" - <<'END'
import numpy
samples = numpy.load("made.npy")
# [save a recording]
import json, numpy
numpy.save("left.npy", samples.astype(numpy.int16))
json.dump({"sampling_rate": 20e6, "frame_rate": 250.0,            # Hz
           "start_time": 0.0,                                     # s, first sample after the pulse
           "centre_frequency": 4e6, "bandwidth": 1e6,             # Hz, between the -6 dB points
           "sound_speed": 1540.0}, open("left.json", "w"))        # m/s
# [end]
END
# [follow it]
track_artery left.npy --out results
# [end]
rm -r results
cp made.json left.json
mv left.json elsewhere.json
track_artery left.npy --meta elsewhere.json --out results
for result in motion.csv summary.json wall_echoes.npy; do
    test -s "results/${result}"
done
mv elsewhere.json left.json
track_artery left.npy --out again
cmp results/motion.csv again/motion.csv
for line in 1 2; do
    cp left.npy "left_${line}.npy"
    cp left.json "left_${line}.json"
done
track_artery left_1.npy left_2.npy --out results
test -s results/motion_line_2.csv
