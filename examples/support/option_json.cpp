#include "support/option_json.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>
#include <map>
#include <nlohmann/json.hpp>
#include <set>
#include <string>
#include <type_traits>
#include <variant>
#include <vector>

#include "echosieve/io/files.hpp"
#include "json_file.hpp"
#include "support/option_fields.hpp"

namespace examples {
namespace {

using echosieve::FileError;
using nlohmann::json;
using nlohmann::ordered_json;

// JSON has no infinities.
json to_json(double value) {
    if (std::isfinite(value)) {
        return value;
    }
    return std::isnan(value) ? "nan" : value > 0 ? "inf" : "-inf";
}
json to_json(echosieve::WallLayer layer) {
    return layer == echosieve::WallLayer::outer ? "outer" : "inner";
}
json to_json(const echosieve::Smoothing& smoothing) {
    if (const auto* average = std::get_if<echosieve::MovingAverage>(&smoothing)) {
        return {{"average_frames", average->frames}};
    }
    if (const auto* gaussian = std::get_if<echosieve::GaussianSmoothing>(&smoothing)) {
        return {{"gaussian_sigma", to_json(gaussian->sigma)}};
    }
    return "none";
}
template <class T>
requires std::is_integral_v<T>
json to_json(T value) {
    return value;
}
template <class T>
requires requires(const T& values) { values.size(), values[0]; }
json to_json(const T& values) {
    json array = json::array();
    for (const double value : values) {
        array.push_back(to_json(value));
    }
    return array;
}

// Each says what the value must be, unless it is that.
using Complaint = const char*;

Complaint from_json(const json& from, double& to) {
    static const std::map<std::string, double> others = {
        {"inf", std::numeric_limits<double>::infinity()},
        {"-inf", -std::numeric_limits<double>::infinity()},
        {"nan", std::numeric_limits<double>::quiet_NaN()}};
    if (from.is_string() && others.contains(from.get<std::string>())) {
        to = others.at(from.get<std::string>());
        return nullptr;
    }
    if (!from.is_number()) {
        return "must be a number";
    }
    to = from.get<double>();
    return nullptr;
}
Complaint from_json(const json& from, bool& to) {
    if (!from.is_boolean()) {
        return "must be true or false";
    }
    to = from.get<bool>();
    return nullptr;
}
Complaint from_json(const json& from, echosieve::WallLayer& to) {
    if (from != "outer" && from != "inner") {
        return "must be \"outer\" or \"inner\"";
    }
    to = from == "outer" ? echosieve::WallLayer::outer : echosieve::WallLayer::inner;
    return nullptr;
}
template <class T>
requires(std::is_integral_v<T> && !std::is_same_v<T, bool>)
Complaint from_json(const json& from, T& to) {
    // Counts above zero alone: no option means anything else.
    constexpr auto most = static_cast<std::uint64_t>(std::numeric_limits<T>::max());
    if (!from.is_number_unsigned() || from.get<std::uint64_t>() > most) {
        return "must be a whole number, zero or more";
    }
    to = from.get<T>();
    return nullptr;
}
Complaint from_json(const json& from, echosieve::Smoothing& to) {
    if (from == "none") {
        to = echosieve::NoSmoothing{};
        return nullptr;
    }
    if (from.is_object() && from.size() == 1 && from.contains("average_frames")) {
        echosieve::MovingAverage average;
        const Complaint complaint = from_json(from["average_frames"], average.frames);
        to = average;
        return complaint;
    }
    if (from.is_object() && from.size() == 1 && from.contains("gaussian_sigma")) {
        echosieve::GaussianSmoothing gaussian;
        const Complaint complaint = from_json(from["gaussian_sigma"], gaussian.sigma);
        to = gaussian;
        return complaint;
    }
    return "must be \"none\", {\"average_frames\": ...} or {\"gaussian_sigma\": ...}";
}
template <class T>
requires requires(const T& values) { values.size(), values[0]; }
Complaint from_json(const json& from, T& to) {
    constexpr std::size_t longest = 1000;  // of a list that a tracking goes through
    if (!from.is_array() || from.size() > longest) {
        return "must be a list of numbers";
    }
    if constexpr (requires { to.push_back(0); }) {
        to.resize(from.size());
    }
    if (from.size() != static_cast<std::size_t>(to.size())) {
        return "must have as many numbers as the option";
    }
    std::size_t k = 0;
    for (auto& value : to) {
        if (const Complaint complaint = from_json(from[k++], value)) {
            return complaint;
        }
    }
    return nullptr;
}

std::map<std::string, json> all_options(const echosieve::BlockOptions& options) {
    std::map<std::string, json> all;
    visit_options(options,
                  [&](const std::string& name, const auto& value) { all[name] = to_json(value); });
    return all;
}

constexpr const char* in_blocks_name = "in_blocks";
constexpr const char* pulse_delay_name = "pulse_delay";

RunOptions read_options(const json& object, const std::filesystem::path& file) {
    RunOptions run;
    std::set<std::string> known;
    const auto take = [&](const std::string& name, auto& value) {
        known.insert(name);
        const auto found = object.find(name);
        const Complaint complaint = found == object.end() ? nullptr : from_json(*found, value);
        if (complaint != nullptr) {
            throw FileError(file, "option '" + name + "' = " + echosieve::detail::shown(*found) +
                                      ": " + complaint);
        }
    };
    visit_options(run.options, take);
    if (object.contains(in_blocks_name)) {
        take(in_blocks_name, run.in_blocks.emplace());
    }
    if (object.contains(pulse_delay_name)) {
        take(pulse_delay_name, run.pulse_delay.emplace());
    }
    for (const auto& field : object.items()) {
        if (!known.contains(field.key())) {
            throw FileError(file, "option '" + echosieve::printable(field.key()) +
                                      "' is unknown to this version, " ECHOSIEVE_VERSION);
        }
    }
    return run;
}

}  // namespace

void write_run(const RunOptions& run, ordered_json& object) {
    object["program"] = "track_artery";
    object["version"] = ECHOSIEVE_VERSION;
    object["format"] = run_format;
    ordered_json options = ordered_json::object();
    if (run.in_blocks) {
        options[in_blocks_name] = *run.in_blocks;
    }
    if (run.pulse_delay) {
        options[pulse_delay_name] = *run.pulse_delay;
    }
    const std::map<std::string, json> defaults = all_options({});
    for (const auto& [name, value] : all_options(run.options)) {
        if (value != defaults.at(name)) {
            options[name] = value;
        }
    }
    object["options"] = options;
}

RunOptions read_run(const std::filesystem::path& file) {
    const json object = echosieve::detail::read_json_object(file);
    if (!object.contains("format") || object["format"] != run_format) {
        throw FileError(file, "field 'format' must be " + std::to_string(run_format) +
                                  ": it is no summary.json of this version, " ECHOSIEVE_VERSION);
    }
    if (!object.contains("options") || !object["options"].is_object()) {
        throw FileError(file, "field 'options' is missing, or no object");
    }
    if (object.contains("version") && object["version"] != ECHOSIEVE_VERSION) {
        std::fprintf(stderr, "%s: written by version %s; this one, %s, may find other digits\n",
                     echosieve::printable(file.string()).c_str(),
                     echosieve::detail::shown(object["version"]).c_str(), ECHOSIEVE_VERSION);
    }
    return read_options(object["options"], file);
}

}  // namespace examples
