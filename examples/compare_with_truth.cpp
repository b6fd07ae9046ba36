// Compares motion.csv with the truth of a synthetic recording: rms error of each wall and of the
// distension, mean removed, against the better of the inner and outer layer, over the frames that
// were not dropped.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <exception>
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

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

struct Sum {
    double sum = 0, square = 0, count = 0;
    void add(double x) { sum += x, square += x * x, ++count; }
    double mean() const { return sum / count; }
    double deviation() const { return std::sqrt(std::max(square / count - mean() * mean(), 0.0)); }
};

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
    std::array<Sum, 6> error;
    std::size_t valid = 0, measured = 0, false_valid = 0;
    for (std::size_t i = 0; i < truth.size(); ++i) {
        const bool is_valid = motion[i][6] > 0.5;
        if (truth[i][5] > 0.5) {
            false_valid += is_valid ? 1 : 0;
            continue;
        }
        ++measured;
        valid += is_valid ? 1 : 0;
        const double near = motion[i][1], far = motion[i][3];
        const auto& t = truth[i];
        const double differences[] = {near - t[1],
                                      near - t[2],
                                      far - t[3],
                                      far - t[4],
                                      far - near - (t[3] - t[1]),
                                      far - near - (t[4] - t[2])};
        for (std::size_t k = 0; k < 6; ++k) {
            error[k].add(differences[k]);
        }
    }
    const auto best = [&](std::size_t k) {
        return 1e6 * std::fmin(error[k].deviation(), error[k + 1].deviation());
    };
    std::printf("rms error: near wall %.2f um, far wall %.2f um, distension %.2f um\n", best(0),
                best(2), best(4));
    std::printf("depth against the outer layer: near wall %+.3f mm, far wall %+.3f mm\n",
                1e3 * error[1].mean(), 1e3 * error[3].mean());
    std::printf(
        "valid: %zu of %zu frames that were not dropped; %zu dropped frames taken for valid\n",
        valid, measured, false_valid);
    return 0;
} catch (const std::exception& problem) {
    std::fprintf(stderr, "compare_with_truth: %s\n", problem.what());
    return 1;
}
