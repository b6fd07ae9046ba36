// The exception for files that can't be read or written.
#pragma once

#include <filesystem>
#include <stdexcept>
#include <string>
#include <string_view>

#include "echosieve/core/detail/api.hpp"

namespace echosieve {

/// The text with every control character, and every byte that is no UTF-8, written as \xNN: fit for
/// a terminal and for JSON, whatever a file may be called.
[[nodiscard]] ECHOSIEVE_API std::string printable(std::string_view text);

/// Thrown for every file that is refused: what() names the file, and the field and value at fault.
class ECHOSIEVE_EXPORT FileError : public std::runtime_error {
public:
    ECHOSIEVE_API FileError(const std::filesystem::path& file, const std::string& problem);
};

}  // namespace echosieve
