// JSON files of people and other programs, read with limits. A header, for the programs read some
// too, and a compiled library shows them nothing of its own.
#pragma once

#include <algorithm>
#include <cstddef>
#include <filesystem>
#include <fstream>
#include <functional>
#include <nlohmann/json.hpp>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "echosieve/io/files.hpp"
#include "open_file.hpp"

namespace echosieve::detail {

/// Settings and summaries are a few kilobytes: what is larger [bytes] or deeper is something else,
/// and would cost memory or the stack.
inline constexpr std::size_t longest_json = std::size_t{1} << 20;
inline constexpr int deepest_json = 16;

/// A value for a message: its start, if it is long.
[[nodiscard]] inline std::string shown(const nlohmann::json& value) {
    constexpr std::size_t longest = 60;
    const std::string text = value.dump(-1, ' ', true, nlohmann::json::error_handler_t::replace);
    return text.size() <= longest ? text : text.substr(0, longest) + "...";
}

inline std::string json_text(const std::filesystem::path& file, const char* if_missing) {
    std::ifstream in = open_for_reading(file, if_missing);
    std::string text(longest_json + 1, '\0');
    in.read(text.data(), static_cast<std::streamsize>(text.size()));
    if (in.bad()) {
        throw FileError(file, "can't be read to its end");
    }
    text.resize(static_cast<std::size_t>(in.gcount()));
    if (text.size() > longest_json) {
        throw FileError(file, "is longer than " + std::to_string(longest_json) +
                                  " bytes: it holds no settings");
    }
    return text;
}

// Looks at what the parser meets before it is kept.
class JsonWatch {
public:
    explicit JsonWatch(const std::filesystem::path& file) : file_(file) {}

    bool operator()(int depth, nlohmann::json::parse_event_t event, const nlohmann::json& value) {
        if (depth >= deepest_json) {
            throw FileError(file_, "is nested deeper than " + std::to_string(deepest_json) +
                                       " levels: it holds no settings");
        }
        if (event == nlohmann::json::parse_event_t::object_start) {
            open_.emplace_back();
        } else if (event == nlohmann::json::parse_event_t::object_end) {
            open_.pop_back();
        } else if (event == nlohmann::json::parse_event_t::key &&
                   !open_.back().insert(value.get<std::string>()).second) {
            throw FileError(file_, "field " + shown(value) + " is there twice");
        }
        return true;
    }

private:
    const std::filesystem::path& file_;
    std::vector<std::set<std::string>> open_;  // names in the objects that are open
};

// What the parser says, without the number of its complaint.
inline std::string json_complaint(const nlohmann::json::exception& problem) {
    const std::string_view text = problem.what();
    const std::size_t bracket = text.find("] ");
    return printable(bracket == std::string_view::npos ? text : text.substr(bracket + 2));
}

/// The object in a file. Throws FileError, with a sentence, if there is none: no such file (then
/// `if_missing` is said), too long, no JSON, too deep, no object, or a field given twice.
[[nodiscard]] inline nlohmann::json read_json_object(
    const std::filesystem::path& file, const char* if_missing = "there is no such file") {
    const std::string text = json_text(file, if_missing);
    nlohmann::json object;
    try {
        JsonWatch watch(file);
        object = nlohmann::json::parse(text, std::ref(watch));
    } catch (const nlohmann::json::exception& problem) {
        throw FileError(file, "is not valid JSON: " + json_complaint(problem));
    }
    if (!object.is_object()) {
        throw FileError(file, "must hold a JSON object");
    }
    return object;
}

}  // namespace echosieve::detail
