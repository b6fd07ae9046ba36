"""How large a deviation of the pulse's delay has to be for the depths' standard deviations to hold.

    python3 bench/studies/depth_floor.py a.csv [b.csv ...]

on tables of wall_study --details. For each simulator left out: the least deviation of the delay, one number in units of
1 / bandwidth beside the depths' own, with which 95 % of the others' right walls lie within 1.96, and what it holds of
the one left out; and what the library's own deviations hold.
"""
import csv
import math
import sys

SIMULATORS = ("section", "volume", "layered")
SOUND_SPEED = 1540  # of the simulators [m/s]
BANDWIDTHS = {4.0: 1e6, 7.5: 3e6}  # of the simulators' sensors, by their centre frequency in MHz [Hz]
ANOTHER_WALL = 1.5  # no layer of the right wall is so far off [mm]
WANTED = 0.95
NORMAL_95 = 1.959964
STEP = 0.005  # [1 / bandwidth]


def walls_of(files):
    """Per simulator its right walls: error, depth's deviation, the delay's part of it, 1 / bandwidth as depth [mm]."""
    walls = {name: [] for name in SIMULATORS}
    for file in files:
        with open(file, encoding="utf-8", newline="") as table:
            for row in csv.DictReader(table):
                if row["found"] != "1" or row["artery"] != "1":
                    continue
                unit = 1e3 * SOUND_SPEED / 2 / BANDWIDTHS[float(row["frequency_mhz"])]
                for wall in ("near", "far"):
                    error = abs(float(row[f"{wall}_level_error_mm"]))
                    if error < ANOTHER_WALL:
                        walls[SIMULATORS[int(row["simulator"])]].append(
                            (error, float(row[f"{wall}_level_std_mm"]), float(row["delay_std_mm"]), unit))
    return walls


def held(walls, floor=None):
    """Part of the walls within 1.96, with the delay's deviation replaced by `floor` if given [1 / bandwidth]."""
    within = 0
    for error, deviation, delay, unit in walls:
        if floor is not None:
            deviation = math.hypot(math.sqrt(max(deviation**2 - delay**2, 0)), floor * unit)
        within += error <= NORMAL_95 * deviation
    return within / max(len(walls), 1)


def main():
    walls = walls_of(sys.argv[1:])
    for left_out in SIMULATORS:
        others = [wall for name in SIMULATORS if name != left_out for wall in walls[name]]
        floor = 0.0
        while held(others, floor) < WANTED:
            floor += STEP
        own = walls[left_out]
        print(f"{left_out:8s} left out: the others need {floor:.3f} / bandwidth, which holds {100 * held(own, floor):.1f} % "
              f"of its {len(own)} right walls; the library's deviations hold {100 * held(own):.1f} %")


if __name__ == "__main__":
    main()
