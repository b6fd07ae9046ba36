// Recordings of several lines over one vessel, which one clock started.
#pragma once

#include <cmath>
#include <cstddef>
#include <limits>
#include <string_view>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

/// No recording has more lines: sensors with several elements have 2 to 256 (common practice, no
/// source), and what asks for more is another axis of the data.
inline constexpr std::size_t most_lines = 256;

/// Lines over one vessel, recorded frame by frame together. start_time may differ between them, and
/// so may the type of the samples.
struct RecordedLines {
    std::vector<Recording> lines;
    std::vector<double> positions{};  ///< of the lines along the vessel [m]; none: not known
    std::vector<double> offsets{};    ///< of the lines across the vessel [m]; none: not known

    [[nodiscard]] std::size_t line_count() const noexcept { return lines.size(); }
};

namespace detail {

// No line lies further from where positions are counted [m]: a sensor is a few centimetres long,
// and a larger position is one in other units.
inline constexpr double furthest_line = 1;

struct PlaceNames {
    std::string_view number, place;
};

inline void check_places(const std::vector<double>& places, std::size_t lines,
                         const PlaceNames& names) {
    require(places.empty() || places.size() == lines, names.number, places.size(),
            concatenate("must be 0 or the number of lines, ", lines));
    for (const double place : places) {
        require(std::abs(place) <= furthest_line, names.place, place,
                concatenate("of a line must lie within ", furthest_line, " of 0 [m]"));
    }
}

template <class Value>
void require_as_first(const Value& value, const Value& first, std::string_view name,
                      std::size_t line) {
    if (!(value == first)) {
        require(false, name, value,
                concatenate("line ", line, " of lines over one vessel must have the first one's, ",
                            first));
    }
}

}  // namespace detail

/// Throws InvalidInput, naming value and limit, unless `lines` are 1 to most_lines ones with one
/// clock: each with the first one's number of frames and of samples, rates, sensor and sound speed,
/// and with a position and an offset each, or none. Samples are not looked at.
inline void validate(const RecordedLines& lines) {
    const std::size_t count = lines.lines.size();
    require(count > 0 && count <= most_lines, "number of lines", count,
            detail::concatenate("must lie in [1, ", most_lines, "]"));
    detail::check_places(lines.positions, count, {"number of positions", "position"});
    detail::check_places(lines.offsets, count, {"number of offsets", "offset"});
    const Recording& first = lines.lines.front();
    const RecordingSettings& ours = first.settings;
    for (std::size_t k = 0; k < count; ++k) {
        const Recording& line = lines.lines[k];
        const RecordingSettings& its = line.settings;
        validate(its);
        const auto same = [k](const auto& value, const auto& of_first, std::string_view name) {
            detail::require_as_first(value, of_first, name, k + 1);
        };
        same(line.frame_count(), first.frame_count(), "number of frames");
        same(line.sample_count(), first.sample_count(), "number of samples");
        same(its.frame_rate, ours.frame_rate, "frame_rate");
        same(its.sampling_rate, ours.sampling_rate, "sampling_rate");
        same(its.sound_speed, ours.sound_speed, "sound_speed");
        same(its.sensor.centre_frequency, ours.sensor.centre_frequency, "centre_frequency");
        same(its.sensor.bandwidth, ours.sensor.bandwidth, "bandwidth");
        same(its.sensor.width, ours.sensor.width, "sensor_width");
        same(its.sensor.length, ours.sensor.length, "sensor_length");
        if (its.sensor.pulse_delay != ours.sensor.pulse_delay) {
            constexpr double unknown = std::numeric_limits<double>::quiet_NaN();  // as text: nan
            same(its.sensor.pulse_delay.value_or(unknown),
                 ours.sensor.pulse_delay.value_or(unknown), "pulse_delay");
        }
    }
}

}  // namespace echosieve
