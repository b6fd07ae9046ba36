// Compares motion.csv with the truth of a synthetic recording: rms error of each wall and of the
// distension, mean removed, against the better of the inner and outer layer, over the frames that
// were not dropped.
#include <cstddef>
#include <cstdio>
#include <exception>
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

#include "support/score.hpp"

namespace {

using Table = std::vector<std::vector<double>>;

Table read_table(const std::string& file, std::size_t columns) {
    std::ifstream in(file);
    std::string line;
    if (!std::getline(in, line)) {
        throw std::runtime_error(file + ": is missing or empty");
    }
    Table rows;
    while (std::getline(in, line)) {
        std::istringstream fields(line);
        std::vector<double> row;
        for (std::string field; std::getline(fields, field, ',');) {
            row.push_back(std::stod(field));
        }
        if (row.size() != columns) {
            throw std::runtime_error(file + ": row " + std::to_string(rows.size() + 1) + " has " +
                                     std::to_string(row.size()) + " columns, not " +
                                     std::to_string(columns));
        }
        rows.push_back(row);
    }
    return rows;
}

}  // namespace

int main(int argc, char** argv) try {
    if (argc != 3) {
        std::fprintf(stderr, "usage: compare_with_truth motion.csv NAME.truth.csv\n");
        return 1;
    }
    const Table motion = read_table(argv[1], 8);
    const Table truth = read_table(argv[2], 6);
    if (motion.size() != truth.size() || truth.empty()) {
        throw std::runtime_error("the tables differ in length, or are empty");
    }
    examples::MeasuredWalls measured;
    echosieve::Truth walls;
    for (std::size_t i = 0; i < truth.size(); ++i) {
        measured.near.push_back(motion[i][1]);
        measured.far.push_back(motion[i][3]);
        measured.valid.push_back(motion[i][6] > 0.5);
        walls.walls.push_back({truth[i][1], truth[i][2], truth[i][3], truth[i][4]});
        walls.dropped.push_back(truth[i][5] > 0.5);
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
} catch (const std::exception& problem) {
    std::fprintf(stderr, "compare_with_truth: %s\n", problem.what());
    return 1;
}
