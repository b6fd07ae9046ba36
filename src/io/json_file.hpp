// JSON files of people and other programs, read with limits.
#pragma once

#include <cstddef>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>

namespace echosieve::detail {

/// Settings and summaries are a few kilobytes: what is larger [bytes] or deeper is something else,
/// and would cost memory or the stack.
inline constexpr std::size_t longest_json = std::size_t{1} << 20;
inline constexpr int deepest_json = 16;

/// The object in a file. Throws FileError, with a sentence, if there is none: no such file (then
/// `if_missing` is said), too long, no JSON, too deep, no object, or a field given twice.
[[nodiscard]] nlohmann::json read_json_object(const std::filesystem::path& file,
                                              const char* if_missing = "there is no such file");

/// A value for a message: its start, if it is long.
[[nodiscard]] std::string shown(const nlohmann::json& value);

}  // namespace echosieve::detail
