// Whether a recording's own samples contradict its settings: their spectrum, how often frames
// repeat, how many counts they use, and which way round the array lies.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <sstream>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>
#include <vector>

#include "echosieve/condition/detail/frame_values.hpp"
#include "echosieve/condition/options.hpp"
#include "echosieve/condition/sensor_spectrum.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

namespace detail {

// A spectrum of 32 values; and of fewer samples the mean has too much of the power by chance.
inline constexpr std::size_t fewest_checked_samples = 64;

// "4.02 MHz"
[[nodiscard]] inline std::string in_megahertz(double frequency) {
    std::ostringstream text;
    text.precision(3);
    text << frequency / 1e6 << " MHz";
    return text.str();
}

template <class T>
void check_spectrum(const FrameView<T>& frames, const RecordingSettings& settings,
                    const SettingsCheckOptions& options, SettingsCheck& out) {
    if (frames.samples() < fewest_checked_samples || frames.frames() == 0) {
        return;
    }
    const Sensor& given = settings.sensor;
    SensorSpectrumOptions look;
    // Of a sensor whose settings are right, all of the band; of most others, too.
    look.lowest_frequency = std::min(
        look.lowest_frequency, std::min(given.centre_frequency / 8, settings.sampling_rate / 16));
    look.max_frames = options.max_frames;
    const LineSpectrum<> spectrum = line_spectrum(frames, settings.grid(frames.samples()), look);
    const auto over = [](double seen, double setting, double lowest, double highest) {
        return seen < lowest * setting || seen > highest * setting;
    };
    const auto contradicts = [&](const Sensor& seen) {
        return over(seen.centre_frequency, given.centre_frequency, options.lowest_centre,
                    options.highest_centre) ||
               over(seen.bandwidth, given.bandwidth, options.narrowest, options.widest);
    };
    // If a fit from the settings ends near them, clear of the noise, there is no need to search.
    constexpr double clear = 3;  // of the band over the noise's floor
    look.start = given;
    SensorEstimate found = estimate_sensor(spectrum, look);
    if (!found.usable() || found.signal_to_noise < clear || contradicts(found.sensor)) {
        look.start.reset();
        found = estimate_sensor(spectrum, look);
    }
    if (!found.usable()) {
        out.band_seen = found.status != SensorStatus::no_band;
        return;
    }
    struct Seen {
        std::string_view name;
        double setting;
        double seen;
        double deviation;
    };
    const auto compare = [&](const Seen& x, double lowest, double highest) {
        if (over(x.seen, x.setting, lowest, highest) &&
            std::abs(x.seen - x.setting) > options.deviations * x.deviation) {
            out.add(concatenate(x.name, " = ", in_megahertz(x.setting),
                                " contradicts the recording, whose own echoes show ",
                                in_megahertz(x.seen), " (+- ", in_megahertz(x.deviation), ")"),
                    options.contradicted);
        }
    };
    compare({"centre_frequency", given.centre_frequency, found.sensor.centre_frequency,
             found.centre_std},
            options.lowest_centre, options.highest_centre);
    compare({"bandwidth", given.bandwidth, found.sensor.bandwidth, found.bandwidth_std},
            options.narrowest, options.widest);
}

// Power of the means along either way, over that of all: what hardly changes along it has most.
struct Likeness {
    double power = 0;          // mean square about the mean
    double within_frames = 0;  // along a frame's samples
    double across_frames = 0;  // along one sample of all frames
};

template <class T>
[[nodiscard]] Likeness likeness(const FrameView<T>& frames, std::size_t max_frames) {
    const auto samples = static_cast<Eigen::Index>(frames.samples());
    Eigen::ArrayXd sum = Eigen::ArrayXd::Zero(samples);
    double square = 0, of_means = 0, whole = 0, used = 0;
    for (const std::size_t i : spread_frames(frames, max_frames)) {
        const std::span<const T> frame = frames[i];
        const Eigen::ArrayXd x =
            Eigen::Map<const Eigen::Array<T, Eigen::Dynamic, 1>>(frame.data(), samples)
                .template cast<double>();
        const double mean = x.mean();
        if (!(x.maxCoeff() > x.minCoeff())) {
            continue;  // a frame of nothing
        }
        sum += x;
        square += x.square().sum();
        of_means += mean * mean;
        whole += mean;
        ++used;
    }
    constexpr double fewest_frames_used = 8;
    if (used < fewest_frames_used || frames.samples() < fewest_checked_samples) {
        return {};
    }
    const double mean = whole / used;  // an offset is no likeness
    const double power = square / (used * static_cast<double>(samples)) - mean * mean;
    if (!(power > 0)) {
        return {};
    }
    // Of n numbers at random the mean has 1 / n of the power.
    return {power, (of_means / used - mean * mean) / power - 1 / static_cast<double>(samples),
            ((sum / used).square().mean() - mean * mean) / power - 1 / used};
}

}  // namespace detail

/// Looks at the samples and their settings. `states` as check_frames has them. Costs a spectrum of
/// max_frames frames. Throws InvalidInput for settings or options outside their domain, or if the
/// number of states differs from the frames'.
template <class T>
[[nodiscard]] SettingsCheck check_settings(const FrameView<T>& frames,
                                           const RecordingSettings& settings,
                                           std::span<const FrameState> states,
                                           const SettingsCheckOptions& options = {}) {
    validate(options);
    const std::size_t count = frames.frames();
    require(states.size() == count, "number of frame states", states.size(),
            detail::concatenate("must equal the frames, ", count));
    SettingsCheck out;
    out.warnings = settings_warnings(settings, frames.samples());
    detail::check_spectrum(frames, settings, options, out);
    const std::size_t repeated = count_states(states).frozen;
    if (static_cast<double>(repeated) > options.largest_repetition * static_cast<double>(count)) {
        const double rate = settings.frame_rate * static_cast<double>(count - repeated) /
                            static_cast<double>(count);
        out.add(detail::concatenate("frame_rate = ", settings.frame_rate, " Hz contradicts the ",
                                    "recording: ", repeated, " of ", count,
                                    " frames are the frame before once more, so the line was ",
                                    "taken ", rate, " times a second"),
                options.contradicted);
    }
    const detail::Likeness alike = detail::likeness(frames, options.max_frames);
    constexpr double least_part = 0.01;  // ten times what is seen of it where the array lies right
    if (alike.within_frames > least_part &&
        alike.within_frames > options.least_likeness * alike.across_frames) {
        out.add(detail::concatenate("the array looks transposed: of its ", count, " frames of ",
                                    frames.samples(), " samples the samples hardly change within ",
                                    "a frame, and all of them do from frame to frame"),
                options.contradicted);
    }
    const double rms = std::sqrt(alike.power);
    if (std::is_integral_v<T> && rms > 0 && rms < options.least_counts) {
        out.warnings.push_back(
            detail::concatenate("the gain is low: the samples' rms is ", rms,
                                " counts, of which rounding to whole ones is 0.29"));
    }
    return out;
}

}  // namespace echosieve
