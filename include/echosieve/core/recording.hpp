// A recording: frames of samples of one line, with what is known of the sensor and the medium.
#pragma once

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "echosieve/core/detail/plausible.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"

namespace echosieve {

/// What the sensor sends and hears.
struct Sensor {
    double centre_frequency = 0;  ///< [Hz]
    double bandwidth = 0;         ///< -6 dB, full width [Hz]
    /// from an echo's arrival to the peak of its envelope, once in the sensor's band: 0 for a
    /// zero-phase pulse, nothing if unknown [s]
    std::optional<double> pulse_delay{};
    double width = 0;   ///< of its face across the vessel [m]; 0: not known
    double length = 0;  ///< of its face along the vessel [m]; 0: not known
};

/// No pulse peaks later than this many times 1 / bandwidth: a larger delay is one in other units.
inline constexpr double longest_pulse_delay = 10;

/// Throws InvalidInput, naming value, limit and the likely slip of unit: see plausible.hpp.
inline void validate(const Sensor& sensor) {
    using namespace detail;
    require_plausible_if_known(sensor.width, sensor_width_ranges);
    require_plausible_if_known(sensor.length, sensor_length_ranges);
    const double centre = sensor.centre_frequency;
    require(centre > 0 && is_finite(centre), "centre_frequency", centre,
            "must be positive and finite [Hz]");
    require_plausible(centre, centre_frequency_ranges);
    require(sensor.bandwidth > 0 && sensor.bandwidth < 2 * centre, "bandwidth", sensor.bandwidth,
            "must be positive and below twice the centre frequency [Hz]");
    require_plausible(sensor.bandwidth, bandwidth_ranges(centre));
    if (sensor.pulse_delay) {
        const double limit = longest_pulse_delay / sensor.bandwidth;
        if (!(std::abs(*sensor.pulse_delay) <= limit)) {
            require(false, "pulse_delay", *sensor.pulse_delay,
                    concatenate("must lie within ", longest_pulse_delay, " / bandwidth = ", limit,
                                " of 0 [s]",
                                slip_of_unit(std::abs(*sensor.pulse_delay), {0.01 * limit, limit},
                                             time_units)));
        }
    }
}

/// How a recording was made.
struct RecordingSettings {
    double sampling_rate = 0;  ///< fast time [Hz]
    double frame_rate = 0;     ///< slow time [Hz]
    double start_time = 0;     ///< delay of each frame's first sample from its pulse [s]
    Sensor sensor;
    double sound_speed =
        1540;  ///< [m/s]; 1540 is the soft-tissue convention (common practice, no source)

    /// Depth [m] of an echo that arrives at `time` [s] after the pulse: there and back.
    [[nodiscard]] constexpr double depth(double time) const noexcept {
        return time * sound_speed / 2;
    }
    /// Arrival [s] of the echo of `depth` [m].
    [[nodiscard]] constexpr double arrival(double depth) const noexcept {
        return 2 * depth / sound_speed;
    }
    [[nodiscard]] constexpr SamplingGrid grid(std::size_t samples) const noexcept {
        return {start_time, sampling_rate, samples, 0};
    }
};

/// Throws InvalidInput, naming value, limit and the likely slip of unit: see plausible.hpp.
inline void validate(const RecordingSettings& settings) {
    using namespace detail;
    require(settings.sampling_rate > 0 && is_finite(settings.sampling_rate), "sampling_rate",
            settings.sampling_rate, "must be positive and finite [Hz]");
    require_plausible(settings.sampling_rate, sampling_rate_ranges);
    require(settings.frame_rate > 0 && is_finite(settings.frame_rate), "frame_rate",
            settings.frame_rate, "must be positive and finite [Hz]");
    require_plausible(settings.frame_rate, frame_rate_ranges);
    require(settings.start_time >= 0 && is_finite(settings.start_time), "start_time",
            settings.start_time, "must be zero or more and finite [s]");
    require(settings.sound_speed > 0 && is_finite(settings.sound_speed), "sound_speed",
            settings.sound_speed, "must be positive and finite [m/s]");
    require_plausible(settings.sound_speed, sound_speed_ranges);
    require_plausible(settings.start_time, start_time_ranges);
    validate(settings.sensor);
    const double rate = settings.sampling_rate;
    const double top = settings.sensor.centre_frequency + settings.sensor.bandwidth / 2;
    if (!(top < rate / 2)) {
        require(false, "sampling_rate", rate,
                concatenate("must exceed twice the upper -6 dB edge of the sensor's band [Hz]",
                            slip_of_unit(rate, {2 * top, 1e3 * top}, frequency_units)));
    }
    const double most = plausible::most_samples_a_bandwidth * settings.sensor.bandwidth;
    if (!(rate <= most)) {
        require(false, "sampling_rate", rate,
                concatenate("must not exceed ", plausible::most_samples_a_bandwidth,
                            " times the sensor's bandwidth, ", most, " [Hz]"));
    }
}

/// A sentence for each setting outside its usual range (plausible.hpp), with value, range and the
/// likely slip of unit; none if all is as usual. `samples` a frame, if they are known: frames that
/// take longer than frame_rate leaves for them are named too. Throws InvalidInput for settings
/// outside their domain.
[[nodiscard]] inline std::vector<std::string> settings_warnings(const RecordingSettings& settings,
                                                                std::size_t samples = 0) {
    using detail::concatenate;
    validate(settings);
    std::vector<std::string> out;
    const auto look = [&](double value, const detail::SettingRanges& setting) {
        const PlausibleRange& range = setting.usual;
        if (!range.holds(value)) {
            out.push_back(concatenate(setting.name, " = ", value, ": unusual, ", range.lowest,
                                      " to ", range.highest, " [", setting.unit, "] is usual",
                                      detail::slip_of_unit(value, range, setting.units)));
        }
    };
    const Sensor& sensor = settings.sensor;
    look(sensor.centre_frequency, detail::centre_frequency_ranges);
    look(sensor.bandwidth, detail::bandwidth_ranges(sensor.centre_frequency));
    look(settings.sampling_rate, detail::sampling_rate_ranges);
    look(settings.frame_rate, detail::frame_rate_ranges);
    look(settings.sound_speed, detail::sound_speed_ranges);
    if (settings.start_time != 0) {
        look(settings.start_time, detail::start_time_ranges);
    }
    if (sensor.width != 0) {
        look(sensor.width, detail::sensor_width_ranges);
    }
    if (sensor.length != 0) {
        look(sensor.length, detail::sensor_length_ranges);
    }
    const double lasts =
        settings.start_time + static_cast<double>(samples) / settings.sampling_rate;
    if (samples > 0 && lasts * settings.frame_rate > 1) {
        out.push_back(concatenate("frame_rate = ", settings.frame_rate, ": frames of ", samples,
                                  " samples end ", lasts, " s after their pulse, so at most ",
                                  1 / lasts, " [Hz] can follow one another"));
    }
    return out;
}

namespace detail {

// frames * samples, which must not wrap around.
template <class T>
[[nodiscard]] std::size_t frame_values(std::size_t frames, std::size_t samples) {
    constexpr std::size_t most = std::numeric_limits<std::ptrdiff_t>::max() / sizeof(T);
    if (samples > 0 && frames > most / samples) {
        require(false, "number of frames", frames,
                concatenate("must not exceed ", most / samples, " for frames of ", samples,
                            " samples"));
    }
    return frames * samples;
}

}  // namespace detail

/// Frames in memory that somebody else owns: frame by frame, each frame's samples side by side (C
/// order).
template <class T>
class FrameView {
public:
    FrameView() = default;
    /// Throws InvalidInput unless data.size() == frames * samples.
    FrameView(std::span<const T> data, std::size_t frames, std::size_t samples)
        : data_(data), frames_(frames), samples_(samples) {
        if (data.size() != detail::frame_values<T>(frames, samples)) {  // no text for a good one
            require(false, "number of values", data.size(),
                    detail::concatenate("must be frames * samples = ", frames, " * ", samples));
        }
    }

    [[nodiscard]] std::size_t frames() const noexcept { return frames_; }
    [[nodiscard]] std::size_t samples() const noexcept { return samples_; }
    [[nodiscard]] std::span<const T> operator[](std::size_t frame) const noexcept {
        return data_.subspan(frame * samples_, samples_);
    }
    /// The frames first .. first + count - 1.
    [[nodiscard]] FrameView part(std::size_t first, std::size_t count) const {
        return {data_.subspan(first * samples_, count * samples_), count, samples_};
    }

private:
    std::span<const T> data_;
    std::size_t frames_ = 0;
    std::size_t samples_ = 0;
};

/// Frames with their memory.
template <class T>
class FrameMatrix {
public:
    FrameMatrix() = default;
    /// Zeros. Throws InvalidInput for more samples than a memory's addresses can tell apart.
    FrameMatrix(std::size_t frames, std::size_t samples)
        : data_(detail::frame_values<T>(frames, samples)), frames_(frames), samples_(samples) {}
    FrameMatrix(std::vector<T> data, std::size_t frames, std::size_t samples)
        : data_(std::move(data)), frames_(frames), samples_(samples) {
        static_cast<void>(view());  // checks the size
    }

    [[nodiscard]] std::size_t frames() const noexcept { return frames_; }
    [[nodiscard]] std::size_t samples() const noexcept { return samples_; }
    [[nodiscard]] std::span<T> operator[](std::size_t frame) noexcept {
        return std::span<T>(data_).subspan(frame * samples_, samples_);
    }
    [[nodiscard]] std::span<const T> operator[](std::size_t frame) const noexcept {
        return std::span<const T>(data_).subspan(frame * samples_, samples_);
    }
    [[nodiscard]] FrameView<T> view() const { return {data_, frames_, samples_}; }
    [[nodiscard]] std::span<const T> values() const noexcept { return data_; }

private:
    std::vector<T> data_;
    std::size_t frames_ = 0;
    std::size_t samples_ = 0;
};

/// A whole recording in memory, in the sample type that it was stored in.
struct Recording {
    RecordingSettings settings;
    std::variant<FrameMatrix<std::int16_t>, FrameMatrix<float>> samples;

    [[nodiscard]] std::size_t frame_count() const {
        return std::visit([](const auto& m) { return m.frames(); }, samples);
    }
    [[nodiscard]] std::size_t sample_count() const {
        return std::visit([](const auto& m) { return m.samples(); }, samples);
    }
};

}  // namespace echosieve
