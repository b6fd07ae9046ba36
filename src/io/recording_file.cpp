#include "echosieve/io/recording_file.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <variant>

#include "echosieve/core/error.hpp"
#include "echosieve/io/files.hpp"
#include "echosieve/io/npy.hpp"
#include "json_file.hpp"
#include "npy_open.hpp"
#include "recording_parts.hpp"

namespace echosieve {
namespace {

using nlohmann::json;

constexpr std::array<const char*, 11> known_fields = {
    "sampling_rate",         "frame_rate",         "start_time",
    "centre_frequency",      "bandwidth",          "sound_speed",
    "pulse_delay",           "sensor_width",       "sensor_length",
    detail::positions_field, detail::offsets_field};
constexpr const char* no_settings =
    "there is no such file; a recording's settings stand beside its samples";

std::optional<double> optional_number(const json& object, const char* name,
                                      const std::filesystem::path& file) {
    const auto found = object.find(name);
    if (found == object.end()) {
        return std::nullopt;
    }
    if (!found->is_number()) {
        throw FileError(file, std::string("field '") + name + "' = " + detail::shown(*found) +
                                  ": must be a number");
    }
    return found->get<double>();
}

double number(const json& object, const char* name, const std::filesystem::path& file) {
    const std::optional<double> found = optional_number(object, name, file);
    if (!found) {
        throw FileError(file, std::string("field '") + name + "' is missing");
    }
    return *found;
}

}  // namespace

std::filesystem::path settings_path(const std::filesystem::path& samples) {
    std::filesystem::path path = samples;
    return path.replace_extension(".json");
}

RecordingSettings read_settings(const std::filesystem::path& file) {
    const json object = detail::read_json_object(file, no_settings);
    RecordingSettings settings;
    settings.sampling_rate = number(object, "sampling_rate", file);
    settings.frame_rate = number(object, "frame_rate", file);
    settings.start_time = number(object, "start_time", file);
    settings.sensor.centre_frequency = number(object, "centre_frequency", file);
    settings.sensor.bandwidth = number(object, "bandwidth", file);
    settings.sound_speed = number(object, "sound_speed", file);
    settings.sensor.pulse_delay = optional_number(object, "pulse_delay", file);
    settings.sensor.width = optional_number(object, "sensor_width", file).value_or(0);
    settings.sensor.length = optional_number(object, "sensor_length", file).value_or(0);
    try {
        validate(settings);
    } catch (const InvalidInput& problem) {
        throw FileError(file, std::string("field ") + problem.what());
    }
    return settings;
}

std::vector<std::string> unknown_settings(const std::filesystem::path& file) {
    std::vector<std::string> unknown;
    const json object = detail::read_json_object(file, no_settings);
    for (const auto& field : object.items()) {
        if (std::find(known_fields.begin(), known_fields.end(), field.key()) ==
            known_fields.end()) {
            unknown.push_back(printable(field.key()));
        }
    }
    return unknown;
}

Recording read_recording(const std::filesystem::path& samples,
                         const std::filesystem::path& settings) {
    Recording recording;
    recording.samples = read_npy(samples);
    recording.settings = read_settings(settings);
    if (const auto* floats = std::get_if<FrameMatrix<float>>(&recording.samples)) {
        detail::require_finite(*floats, 0, samples);
    }
    return recording;
}

Recording read_recording(const std::filesystem::path& samples) {
    return read_recording(samples, settings_path(samples));
}

void write_recording(const Recording& recording, const std::filesystem::path& samples) {
    validate(recording.settings);
    detail::require_samples(recording, samples);
    const auto write = [&](const std::filesystem::path& file) {
        std::visit([&](const auto& m) { write_npy(file, m.values(), m.frames(), m.samples()); },
                   recording.samples);
    };
    detail::write_both(samples, settings_path(samples), detail::settings_text(recording.settings),
                       write);
}

}  // namespace echosieve
