// What the study says of all its recordings.
#pragma once

#include <filesystem>
#include <vector>

#include "row.hpp"

namespace wall_study {

/// Errors, depths, whether qualities and deviations are what they say, and false walls.
void print_report(const std::vector<Row>& rows);

/// A CSV file with a row a recording: for calibrate.py, and to look at.
void write_details(const std::vector<Row>& rows, const std::filesystem::path& file);

}  // namespace wall_study
