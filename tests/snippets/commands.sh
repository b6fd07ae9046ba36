#!/usr/bin/env bash
# The commands that the pages show, run where they are cheap. Takes the folder of the example programs and that of the
# repository, and works in the current folder.
#
# Shown as they are; here only that the scripts can be read, since CI runs the one and each build makes the other's
# programs:
# [two commands]
# bash examples/run.sh     # makes a synthetic recording, follows both walls, draws the pictures into demo/
# bash tests/run.sh        # builds and runs the tests (--ci: the whole matrix)
# [end]
# [your own recording]
# track_artery NAME.npy [--meta NAME.json] [--out DIR]
# [end]
set -euo pipefail
PATH="$1:${PATH}"
repository="$2"

bash -n "${repository}/examples/run.sh"
bash -n "${repository}/tests/run.sh"
grep -q -- '--ci' "${repository}/tests/run.sh"

make_recording --seed 3 --seconds 2 --sampling-rate 20e6 --frame-rate 250 left.npy
mv left.json elsewhere.json
track_artery left.npy --meta elsewhere.json --out results
for result in motion.csv summary.json wall_echoes.npy; do
    test -s "results/${result}"
done
mv elsewhere.json left.json
track_artery left.npy --out again
cmp results/motion.csv again/motion.csv
