// Files opened for reading.
#pragma once

#include <filesystem>
#include <fstream>
#include <ios>
#include <system_error>

#include "echosieve/io/files.hpp"

namespace echosieve::detail {

/// Throws FileError unless `file` is a regular file that can be read; `if_missing` says what is
/// wrong if there is none.
[[nodiscard]] inline std::ifstream open_for_reading(
    const std::filesystem::path& file, const char* if_missing = "there is no such file") {
    std::error_code ignored;  // a file that can't be looked at does not exist
    if (!std::filesystem::exists(file, ignored)) {
        throw FileError(file, if_missing);
    }
    if (!std::filesystem::is_regular_file(file, ignored)) {
        throw FileError(file, "is not a regular file");
    }
    std::ifstream in(file, std::ios::binary);
    if (!in) {
        throw FileError(file, "can't be opened for reading");
    }
    return in;
}

}  // namespace echosieve::detail
