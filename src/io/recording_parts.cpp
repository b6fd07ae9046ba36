#include "recording_parts.hpp"

#include <cmath>
#include <cstddef>
#include <nlohmann/json.hpp>
#include <system_error>
#include <variant>

#include "echosieve/core/error.hpp"
#include "echosieve/core/recorded_lines.hpp"
#include "echosieve/io/files.hpp"
#include "json_file.hpp"
#include "npy_open.hpp"

namespace echosieve::detail {

std::vector<double> read_places(const std::filesystem::path& settings, const char* name) {
    const nlohmann::json object = read_json_object(settings);
    const auto found = object.find(name);
    if (found == object.end()) {
        return {};
    }
    const std::string field = std::string("field '") + name + "' = " + shown(*found);
    if (!found->is_array()) {
        throw FileError(settings, field + ": must be an array, a number a line");
    }
    std::vector<double> places;
    for (const nlohmann::json& entry : *found) {
        if (!entry.is_number() || !(std::abs(entry.get<double>()) <= furthest_line)) {
            throw FileError(settings, field + ": its entry " + std::to_string(places.size()) +
                                          ", " + shown(entry) + ", must be a number within " +
                                          concatenate(furthest_line) + " of 0 [m]");
        }
        places.push_back(entry.get<double>());
    }
    if (places.empty()) {
        throw FileError(settings, field + ": must hold a number a line, or be left out");
    }
    return places;
}

std::string settings_text(const RecordingSettings& s, std::span<const double> positions,
                          std::span<const double> offsets) {
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
    if (!positions.empty()) {
        object[positions_field] = std::vector<double>(positions.begin(), positions.end());
    }
    if (!offsets.empty()) {
        object[offsets_field] = std::vector<double>(offsets.begin(), offsets.end());
    }
    return object.dump(1);
}

void require_samples(const Recording& recording, const std::filesystem::path& samples,
                     const std::string& of) {
    require(recording.frame_count() > 0, "number of frames", recording.frame_count(),
            "must be at least 1");
    require(recording.sample_count() > 0, "samples a frame", recording.sample_count(),
            "must be at least 1");
    if (const auto* floats = std::get_if<FrameMatrix<float>>(&recording.samples)) {
        require_finite(*floats, 0, samples, of);
    }
}

void write_both(const std::filesystem::path& samples, const std::filesystem::path& settings,
                const std::string& text,
                const std::function<void(const std::filesystem::path&)>& write) {
    if (settings == samples) {
        throw FileError(samples, "can't hold the samples: it is the name of their settings");
    }
    std::filesystem::path folder = samples.parent_path();
    folder = folder.empty() ? "." : folder;
    if (std::error_code ignored; !std::filesystem::is_directory(folder, ignored)) {
        throw FileError(samples, "can't be written: its folder does not exist");
    }
    const std::string name = samples.filename().string();
    const std::string settings_name = settings.filename().string();
    FileSet files({.folder = folder, .name = name, .files = {name, settings_name}});
    write(files.stage(name));
    AtomicFile out(files.stage(settings_name));
    out.stream() << text << '\n';
    out.commit();
    files.commit();
}

}  // namespace echosieve::detail
