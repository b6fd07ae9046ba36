// The outcomes in figures: per setting over the seeds, and over everything.
#pragma once

#include <cstddef>
#include <filesystem>
#include <vector>

#include "methods.hpp"
#include "scenes.hpp"

namespace compare_methods {

/// A setting's outcomes, one a seed, and how much there was to find.
struct Row {
    std::vector<Outcomes> seeds;
    std::vector<double> true_rms;  // of the true inner distension, mean removed, per seed [m]
};

/// A sweep with its rows, in the order of its cases.
struct SweepRows {
    Sweep sweep;
    std::vector<Row> rows;
};

/// Error of the distension over a row's seeds [m]. "Not found" counts as infinite, so that it is
/// the worst, and the median once it holds for half of the seeds.
struct Spread {
    double best = 0;
    double median = 0;
    double worst = 0;
    std::size_t not_found = 0;
};

Spread distension_spread(const Row& row, std::size_t method);
double median_true_rms(const Row& row);

/// Writes comparison.md, which shows the pictures in the folder `pictures` beside it. Throws
/// std::runtime_error unless all could be written, as write_details does.
void write_table(const std::vector<SweepRows>& sweeps, std::size_t seeds,
                 const std::filesystem::path& file);
/// Writes comparison.csv: one row a recording and method.
void write_details(const std::vector<SweepRows>& sweeps, const std::filesystem::path& file);

}  // namespace compare_methods
