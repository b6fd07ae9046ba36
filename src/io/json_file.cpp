#include "json_file.hpp"

#include <algorithm>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "echosieve/io/file_error.hpp"
#include "npy_open.hpp"

namespace echosieve::detail {
namespace {

using nlohmann::json;

std::string contents(const std::filesystem::path& file, const char* if_missing) {
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
class Watch {
public:
    explicit Watch(const std::filesystem::path& file) : file_(file) {}

    bool operator()(int depth, json::parse_event_t event, const json& value) {
        if (depth >= deepest_json) {
            throw FileError(file_, "is nested deeper than " + std::to_string(deepest_json) +
                                       " levels: it holds no settings");
        }
        if (event == json::parse_event_t::object_start) {
            open_.emplace_back();
        } else if (event == json::parse_event_t::object_end) {
            open_.pop_back();
        } else if (event == json::parse_event_t::key &&
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
std::string complaint(const json::exception& problem) {
    const std::string_view text = problem.what();
    const std::size_t bracket = text.find("] ");
    return printable(bracket == std::string_view::npos ? text : text.substr(bracket + 2));
}

}  // namespace

json read_json_object(const std::filesystem::path& file, const char* if_missing) {
    const std::string text = contents(file, if_missing);
    json object;
    try {
        Watch watch(file);
        object = json::parse(text, std::ref(watch));
    } catch (const json::exception& problem) {
        throw FileError(file, "is not valid JSON: " + complaint(problem));
    }
    if (!object.is_object()) {
        throw FileError(file, "must hold a JSON object");
    }
    return object;
}

std::string shown(const json& value) {
    constexpr std::size_t longest = 60;
    const std::string text = value.dump(-1, ' ', true, json::error_handler_t::replace);
    return text.size() <= longest ? text : text.substr(0, longest) + "...";
}

}  // namespace echosieve::detail
