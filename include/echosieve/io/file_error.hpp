// The exception for files that can't be read or written.
#pragma once

#include <filesystem>
#include <stdexcept>
#include <string>

#include "echosieve/core/api.hpp"

namespace echosieve {

/// Thrown for every file that is refused: what() names the file, and the field and value at fault.
class ECHOSIEVE_EXPORT FileError : public std::runtime_error {
public:
    FileError(const std::filesystem::path& file, const std::string& problem)
        : std::runtime_error(file.string() + ": " + problem) {}
};

}  // namespace echosieve
