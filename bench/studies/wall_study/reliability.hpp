// A picture of whether qualities are what they say.
#pragma once

#include <filesystem>
#include <vector>

#include "row.hpp"

namespace wall_study {

/// Quality against the part of the frames within close_motion of the truth, a line a simulator,
/// into `file`; what it is drawn from stands in `scratch` meanwhile. Throws std::runtime_error if
/// gnuplot fails.
void draw_reliability(const std::vector<Row>& rows, const std::filesystem::path& scratch,
                      const std::filesystem::path& file);

}  // namespace wall_study
