// Compares motion.csv with the truth of a synthetic recording: rms error of each wall and of the
// distension, mean removed, against the better of the inner and outer layer, over the frames that
// were not dropped.
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <string>
#include <vector>

#include "compare_with_truth/read_table.hpp"
#include "echosieve/io/files.hpp"
#include "support/command_line.hpp"
#include "support/score.hpp"

namespace {

using echosieve::FileError;
using Row = std::vector<double>;

constexpr const char* motion_header =
    "time_s,near_wall_m,near_wall_std_m,far_wall_m,far_wall_std_m,diameter_m,valid,quality";
constexpr const char* truth_header =
    "time_s,near_inner_m,near_outer_m,far_inner_m,far_outer_m,dropped";

bool flag(double value, const std::string& column, std::size_t row, const std::string& file) {
    if (value != 0 && value != 1) {
        throw FileError(file, "row " + std::to_string(row + 1) + ": " + column +
                                  " must be 0 or 1, is " + std::to_string(value));
    }
    return value == 1;
}

// Both tables are of the same frames: their times have six decimals.
void check_times(double motion, double truth, std::size_t row, const std::string& file) {
    constexpr double rounding = 1.5e-6;  // [s]
    if (!(std::abs(motion - truth) <= rounding)) {
        throw FileError(file, "row " + std::to_string(row + 1) + " is of " +
                                  std::to_string(motion) + " s, that of the truth of " +
                                  std::to_string(truth) + " s");
    }
}

// Depths of a frame: those of the truth are all known, those of a valid frame too.
void check_depths(const Row& row, std::size_t first, std::size_t count, std::size_t number,
                  const std::string& file) {
    for (std::size_t k = first; k < first + count; ++k) {
        if (!std::isfinite(row[k])) {
            throw FileError(file, "row " + std::to_string(number + 1) + ", column " +
                                      std::to_string(k + 1) + ": the depth is not known");
        }
    }
}

bool any_to_compare(const std::vector<bool>& valid, const std::vector<bool>& dropped) {
    for (std::size_t i = 0; i < valid.size(); ++i) {
        if (valid[i] && !dropped[i]) {
            return true;
        }
    }
    return false;
}

int compare(const std::string& motion_file, const std::string& truth_file) {
    const std::vector<Row> motion = compare_with_truth::read_table(motion_file, motion_header);
    const std::vector<Row> truth = compare_with_truth::read_table(truth_file, truth_header);
    if (motion.size() != truth.size()) {
        throw FileError(motion_file, "has " + std::to_string(motion.size()) +
                                         " rows, the truth has " + std::to_string(truth.size()));
    }
    examples::MeasuredWalls measured;
    echosieve::Truth walls;
    for (std::size_t i = 0; i < truth.size(); ++i) {
        const Row& m = motion[i];
        const Row& t = truth[i];
        check_times(m[0], t[0], i, motion_file);
        check_depths(t, 1, 4, i, truth_file);
        measured.near.push_back(m[1]);
        measured.far.push_back(m[3]);
        measured.valid.push_back(flag(m[6], "valid", i, motion_file));
        walls.walls.push_back({t[1], t[2], t[3], t[4]});
        walls.dropped.push_back(flag(t[5], "dropped", i, truth_file));
        if (measured.valid.back()) {
            check_depths(m, 1, 5, i, motion_file);
        }
    }
    if (!any_to_compare(measured.valid, walls.dropped)) {
        throw FileError(motion_file, "has no valid frame that was not dropped: nothing to compare");
    }
    const examples::Score score = examples::score(measured, walls);
    std::printf("rms error: near wall %.2f um, far wall %.2f um, distension %.2f um\n",
                1e6 * score.near.rms, 1e6 * score.far.rms, 1e6 * score.distension.rms);
    std::printf("depth against the outer layer: near wall %+.3f mm, far wall %+.3f mm\n",
                1e3 * score.near_depth, 1e3 * score.far_depth);
    std::printf("gain error of the distension: %+.2f %%\n", 100 * score.distension.gain_error);
    std::printf(
        "valid: %zu of %zu frames that were not dropped; %zu dropped frames taken for valid\n",
        score.valid, score.measured, score.false_valid);
    return 0;
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line(
        "compare_with_truth",
        "Compares motion.csv with the truth of a synthetic recording, NAME.truth.csv.");
    std::string motion, truth;
    line.app().add_option("motion.csv", motion, "What track_artery wrote")->required();
    line.app().add_option("NAME.truth.csv", truth, "What make_recording wrote")->required();
    return line.run(argc, argv, [&] { return compare(motion, truth); });
}
