#include "echosieve/io/recording_file.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <system_error>
#include <variant>

#include "echosieve/core/error.hpp"
#include "echosieve/io/files.hpp"
#include "echosieve/io/npy.hpp"
#include "json_file.hpp"
#include "npy_open.hpp"

namespace echosieve {
namespace {

using nlohmann::json;

constexpr std::array<const char*, 9> known_fields = {
    "sampling_rate", "frame_rate",  "start_time",   "centre_frequency", "bandwidth",
    "sound_speed",   "pulse_delay", "sensor_width", "sensor_length"};
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
    require(recording.frame_count() > 0, "number of frames", recording.frame_count(),
            "must be at least 1");
    require(recording.sample_count() > 0, "samples a frame", recording.sample_count(),
            "must be at least 1");
    if (const auto* floats = std::get_if<FrameMatrix<float>>(&recording.samples)) {
        detail::require_finite(*floats, 0, samples);
    }
    if (settings_path(samples) == samples) {
        throw FileError(samples, "can't hold the samples: it is the name of their settings");
    }
    const RecordingSettings& s = recording.settings;
    nlohmann::ordered_json object = {
        {"sampling_rate", s.sampling_rate}, {"frame_rate", s.frame_rate},
        {"start_time", s.start_time},       {"centre_frequency", s.sensor.centre_frequency},
        {"bandwidth", s.sensor.bandwidth},  {"sound_speed", s.sound_speed}};
    if (s.sensor.pulse_delay) {
        object["pulse_delay"] = *s.sensor.pulse_delay;
    }
    if (s.sensor.width != 0) {
        object["sensor_width"] = s.sensor.width;
    }
    if (s.sensor.length != 0) {
        object["sensor_length"] = s.sensor.length;
    }
    std::filesystem::path folder = samples.parent_path();
    folder = folder.empty() ? "." : folder;
    if (std::error_code ignored; !std::filesystem::is_directory(folder, ignored)) {
        throw FileError(samples, "can't be written: its folder does not exist");
    }
    const std::string name = samples.filename().string();
    const std::string settings_name = settings_path(samples).filename().string();
    FileSet files({.folder = folder, .name = name, .files = {name, settings_name}});
    std::visit(
        [&](const auto& matrix) {
            write_npy(files.stage(name), matrix.values(), matrix.frames(), matrix.samples());
        },
        recording.samples);
    AtomicFile out(files.stage(settings_name));
    out.stream() << object.dump(1) << '\n';
    out.commit();
    files.commit();
}

}  // namespace echosieve
