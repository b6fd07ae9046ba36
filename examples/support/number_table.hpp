// Tables of numbers, read strictly.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace examples {

/// The rows below `header`, which must be the first line, each with a number a column; NaN is one.
/// Throws FileError, naming row and field, for anything else.
[[nodiscard]] std::vector<std::vector<double>> read_table(const std::filesystem::path& file,
                                                          const std::string& header);

}  // namespace examples
