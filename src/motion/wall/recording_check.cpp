#include "motion/wall/recording_check.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

#include "echosieve/condition/detail/settings_check.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"
#include "motion/line/gate_spectrum.hpp"
#include "motion/wall/share_scan.hpp"

namespace echosieve {

namespace {

constexpr double millimetres = 1e3;  // a metre
constexpr double decibels = 10;      // a factor of ten of the energy
// Gain: from one part of the recording to another, each about a beat long, in the median.
constexpr double part_length = 1;  // [s]
constexpr Eigen::Index most_parts = 16;
constexpr std::size_t fewest_in_part = 32;  // frames that are used, for a median
constexpr double largest_gain_step = 4;     // of the energy: 6 dB

void require_range_inside(const DepthRange& range, const char* name, double first, double last) {
    if (range.from <= last && range.to >= first) {
        return;
    }
    const double wanted = range.from > last ? range.from : range.to;
    constexpr detail::Unit in_millimetres{1 / millimetres, "mm"};
    require(false, name, detail::concatenate(range.from, " to ", range.to),
            detail::concatenate("must not lie outside the recording, ", millimetres * first, " to ",
                                millimetres * last, " mm",
                                detail::slip_of_unit(wanted, {first, last}, {&in_millimetres, 1})));
}

template <class T>
SettingsCheck check_any(const FrameView<T>& frames, const RecordingSettings& settings,
                        const std::vector<FrameState>& states, const SettingsCheckOptions& options,
                        double offset) {
    SettingsCheck check = check_settings(frames, settings, states, options);
    if (offset != 0) {
        check.warnings.push_back(detail::concatenate("the samples stand ", offset,
                                                     " counts off zero, which was taken off"));
    }
    return check;
}

}  // namespace

void require_trackable(const RecordingSettings& settings, const SamplingGrid& line,
                       const WallFinderOptions& walls, const WallSeparationOptions& separation) {
    validate(settings);
    const double centre = settings.sensor.centre_frequency;
    require(trackable_centre.holds(centre), "centre_frequency", centre,
            detail::concatenate("must lie in [", trackable_centre.lowest, ", ",
                                trackable_centre.highest, "] [Hz] for an artery to be followed"));
    const double rate = settings.frame_rate;
    require(rate >= trackable_frame_rate, "frame_rate", rate,
            detail::concatenate(
                "must be at least ", trackable_frame_rate, " [Hz] for a pulse to be followed",
                detail::slip_of_unit(rate, usual::frame_rate, detail::frequency_units)));
    detail::require_at_most(settings.sensor.bandwidth, trackable_bandwidth, "bandwidth",
                            "[Hz] for an artery to be followed");
    const double spacing = settings.depth(line.step());
    const double gate = 2 * separation.tissue_half_gate;
    require(gate >= static_cast<double>(fewest_gate_samples) * spacing, "bandwidth",
            settings.sensor.bandwidth,
            detail::concatenate("is too low for gates of ", millimetres * gate, " mm: they hold ",
                                gate / spacing, " samples of the baseband, and must hold ",
                                fewest_gate_samples));
    const ShareScanOptions& scan = walls.scan;
    const double steps = (scan.largest_share + scan.against) / settings.sound_speed * 2 * centre *
                         scan.steps_per_wavelength;
    const auto most = static_cast<double>(most_scanned_shares);
    require(steps <= most, "largest_share", scan.largest_share,
            detail::concatenate("makes ", std::ceil(steps), " shares to scan, and must make no ",
                                "more than ", most, " [m]"));
    const double first = settings.depth(line.start_time);
    const double last = settings.depth(std::max(line.end_time(), line.start_time));
    require_range_inside(walls.near_range, "near_range", first, last);
    require_range_inside(walls.far_range, "far_range", first, last);
}

SettingsCheck check_samples(const FrameView<std::int16_t>& frames,
                            const RecordingSettings& settings,
                            const std::vector<FrameState>& states,
                            const SettingsCheckOptions& options, double offset) {
    return check_any(frames, settings, states, options, offset);
}

SettingsCheck check_samples(const FrameView<float>& frames, const RecordingSettings& settings,
                            const std::vector<FrameState>& states,
                            const SettingsCheckOptions& options, double offset) {
    return check_any(frames, settings, states, options, offset);
}

void apply(const SettingsCheck& check, ArteryMotion& motion) {
    motion.warnings.insert(motion.warnings.begin(), check.warnings.begin(), check.warnings.end());
    if (!motion.usable() && !check.band_seen) {
        motion.warnings.emplace_back(noise_warning);
    }
    if (check.trust == 1) {
        return;
    }
    motion.trust = check.trust;
    motion.near.confidence *= check.trust;
    motion.far.confidence *= check.trust;
    for (FrameMotion& frame : motion.frames) {
        frame.near_quality *= check.trust;
        frame.far_quality *= check.trust;
        frame.quality *= check.trust;
    }
}

void warn_of_ranges(const LineHistory& line, const WallFinderOptions& options,
                    std::vector<std::string>& warnings) {
    const double end = line.first_depth() + line.dead_zone;
    const auto look = [&](const DepthRange& range, const char* name) {
        if (range.to < end) {
            warnings.push_back(detail::concatenate(name, " ends at ", millimetres * range.to,
                                                   " mm, in the dead zone, which reaches down to ",
                                                   millimetres * end, " mm"));
        }
    };
    look(options.near_range, "near_range");
    look(options.far_range, "far_range");
}

void warn_of_gain_steps(const LineHistory& line, std::vector<std::string>& warnings) {
    const Eigen::Index frames = line.frames();
    const auto seconds = static_cast<double>(frames) / line.settings.frame_rate / part_length;
    const Eigen::Index parts = held_whole(seconds, Eigen::Index{1}, most_parts);
    const Eigen::Index below = line.samples.cols() - line.first_below_dead_zone();
    const Eigen::ArrayXd energy = line.samples.rightCols(below).abs2().rowwise().sum();
    double least = 0, largest = 0;
    for (Eigen::Index k = 0; k < parts; ++k) {
        std::vector<double> used;
        for (Eigen::Index i = k * frames / parts; i < (k + 1) * frames / parts; ++i) {
            if (line.usable[static_cast<std::size_t>(i)]) {
                used.push_back(energy[i]);
            }
        }
        if (used.size() >= fewest_in_part) {
            const double median = detail::middle(std::move(used));
            least = least > 0 ? std::min(least, median) : median;
            largest = std::max(largest, median);
        }
    }
    if (largest > largest_gain_step * least && least > 0) {
        warnings.push_back(detail::concatenate("the gain changes: the echoes' energy differs by ",
                                               std::round(decibels * std::log10(largest / least)),
                                               " dB from one second to another"));
    }
}

}  // namespace echosieve
