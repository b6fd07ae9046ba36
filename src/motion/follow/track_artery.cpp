#include "echosieve/motion/track_artery.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <span>
#include <type_traits>
#include <variant>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/core/threads.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/pulse_delay.hpp"
#include "echosieve/motion/smoothing.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/courses/phase_track.hpp"
#include "motion/follow/smoothing.hpp"
#include "motion/layers/group_means.hpp"
#include "motion/line/averaged_line.hpp"
#include "motion/line/contact.hpp"
#include "motion/line/line.hpp"
#include "motion/line/numbers.hpp"
#include "motion/line/slow_time.hpp"
#include "motion/wall/echoes.hpp"
#include "motion/wall/every_frame.hpp"
#include "motion/wall/finder.hpp"
#include "motion/wall/pulse_delay.hpp"
#include "motion/wall/recording_check.hpp"
#include "motion/wall/report.hpp"
#include "motion/wall/search.hpp"
#include "motion/wall/separation.hpp"

namespace echosieve {

namespace {

// Averages over longer times leave nothing of a pulse [s].
constexpr double longest_averaging = 0.1;

}  // namespace

void validate(const TrackOptions& options) {
    validate(options.baseband);
    validate(options.offset);
    validate(options.settings_check);
    validate(options.frames);
    validate(options.contact);
    validate(options.motion);
    require(options.averaging >= 0, "averaging", options.averaging, "must be zero or more [s]");
    validate(options.walls);
    validate(options.separation);
    validate(options.search);
    validate(options.wall_motion);
    validate(options.echoes);
    validate(options.pulse);
    validate(options.confidence);
    require(options.least_correlation >= 0 && options.least_correlation < 1, "least_correlation",
            options.least_correlation, "must lie in [0, 1)");
    validate(options.smoothing);
    detail::require_at_most(options.averaging, longest_averaging, "averaging", "[s]");
}

namespace {

// Bridges the frames where the wall was not associated, then smooths.
Eigen::ArrayXd bridged(const Eigen::ArrayXd& displacement, const std::vector<bool>& valid,
                       const Smoothing& smoothing, double frame_rate) {
    Eigen::ArrayXd x = displacement;
    bridge(x, valid);
    return smoothed(x, smoothing, frame_rate);
}

WallReport report(const SeparatedWall& wall, double lag, const WallMotion& motion,
                  const RecordingSettings& settings, const WallEchoOptions& options) {
    WallReport out = wall_report(wall, motion, settings.frame_rate);
    out.depth = wall.state.depth - lag;
    out.reference = wall_echoes(wall, settings, options);
    for (Eigen::Index i = 0; i < motion.displacement.size(); ++i) {
        out.displacement.push_back(motion.displacement[i]);
        out.strength.push_back(motion.correlation[i] > 0 ? motion.strength[i].real() : 0.0);
    }
    return out;
}

// In float where the samples are whole numbers: the sums' rounding is far below a count.
template <class T>
Baseband<double> conditioned(const FrameView<T>& frames, const RecordingSettings& settings,
                             const BasebandOptions& options) {
    if constexpr (std::is_integral_v<T>) {
        const Baseband<float> narrow = to_baseband<float>(frames, settings, options);
        return {narrow.samples.template cast<std::complex<double>>(), narrow.grid, settings};
    } else {
        return to_baseband<double>(frames, settings, options);
    }
}

}  // namespace

ArteryMotion track_artery(const BasebandView& baseband, const std::vector<FrameState>& states,
                          const TrackOptions& options) {
    validate(options);
    validate(baseband);
    require_trackable(baseband.settings, baseband.grid, options.walls, options.separation);
    require(states.size() == baseband.frames(), "number of frame states", states.size(),
            detail::concatenate("must equal the frames, ", baseband.frames()));
    ArteryMotion result;
    for (const FrameState state : states) {
        result.clipped += state == FrameState::clipped ? 1 : 0;
        result.dropped += state != FrameState::clipped && state != FrameState::good ? 1 : 0;
    }
    if (states.size() - result.clipped - result.dropped < fewest_frames) {
        result.status = TrackStatus::too_few_frames;
        return result;
    }
    LineHistory line = line_history(baseband, states, options.walls.dead_zone);
    result.without_contact = leave_out_lost_contact(line, options.contact);
    warn_of_gain_steps(line, result.warnings);
    // The walls are looked for and taken apart in fewer frames, and followed in all.
    const double shorter = std::min(1.0, usual_centre / line.settings.sensor.centre_frequency);
    const Eigen::Index length =
        held_whole(std::round(options.averaging * shorter * line.settings.frame_rate),
                   Eigen::Index{1}, line.frames());
    LineHistory averaged = averaged_line(line, line_motion(line, options.motion.tracks),
                                         even_groups(line.frames(), length));
    const CommonMotion motion = estimate_common_motion(averaged, options.motion);
    if (!motion.usable()) {
        result.status = TrackStatus::nothing_coherent;
        return result;
    }
    if (motion.stretch.size() > 0) {
        averaged.stretch = motion.stretch;
        averaged.stretch_centre = line.stretch_centre = motion.stretch_centre;
        line.stretch = course_of_means(motion.stretch, line.frames(), length);
    }
    result.coherence = motion.coherence;
    const auto found =
        find_and_separate_walls(averaged, motion, options.walls, options.separation, options.search,
                                options.wall_motion, options.confidence);
    if (!found) {
        warn_of_ranges(line, options.walls, result.warnings);
        result.status = TrackStatus::no_artery;
        return result;
    }
    const SeparatedWalls walls = at_every_frame(line, *found, length);
    const std::size_t count = states.size();
    const double rate = line.settings.frame_rate;
    WallMotion near = wall_motion(walls.near, walls.times, rate, options.wall_motion);
    WallMotion far = wall_motion(walls.far, walls.times, rate, options.wall_motion);
    std::vector<bool> valid(count);
    for (std::size_t i = 0; i < count; ++i) {
        const auto k = static_cast<Eigen::Index>(i);
        valid[i] = line.usable[i] && near.correlation[k] > options.least_correlation &&
                   far.correlation[k] > options.least_correlation;
        result.unassociated += line.usable[i] && !valid[i] ? 1 : 0;
    }
    near.displacement += line.slow_path(walls.near.state.depth);
    far.displacement += line.slow_path(walls.far.state.depth);
    const Eigen::ArrayXd near_motion = bridged(near.displacement, valid, options.smoothing, rate);
    const Eigen::ArrayXd far_motion = bridged(far.displacement, valid, options.smoothing, rate);
    // A share that is not sure is an error of gain: it grows with the pulse. Both leave out what
    // the model is wrong by.
    const auto deviation = [&](const WallMotion& moved, const SeparatedWall& wall, Eigen::Index k) {
        return options.confidence.deviation_scale *
               std::hypot(moved.deviation[k], wall.state.share_deviation * walls.times.pulse[k]);
    };
    result.pulse_delay = pulse_delay(averaged, *found, options.baseband, options.pulse);
    const double lag = line.settings.depth(result.pulse_delay.delay);
    result.near = report(walls.near, lag, near, line.settings, options.echoes);
    result.far = report(walls.far, lag, far, line.settings, options.echoes);
    set_confidence(result.near, result.far, options.confidence);
    constexpr double unknown = std::numeric_limits<double>::quiet_NaN();
    result.frames.resize(count);
    for (std::size_t i = 0; i < count; ++i) {
        const auto k = static_cast<Eigen::Index>(i);
        FrameMotion& frame = result.frames[i];
        frame.time = static_cast<double>(i) / rate;
        frame.near_wall = walls.near.state.depth - lag + near_motion[k];
        frame.far_wall = walls.far.state.depth - lag + far_motion[k];
        frame.diameter = frame.far_wall - frame.near_wall;
        frame.valid = valid[i];
        frame.near_wall_std = valid[i] ? deviation(near, walls.near, k) : unknown;
        frame.far_wall_std = valid[i] ? deviation(far, walls.far, k) : unknown;
        frame.diameter_std = std::hypot(frame.near_wall_std, frame.far_wall_std);
        const auto quality = [&](const WallReport& wall, double own_deviation) {
            return valid[i] ? wall.confidence * closeness(own_deviation, options.confidence) : 0.0;
        };
        frame.near_quality = quality(result.near, frame.near_wall_std);
        frame.far_quality = quality(result.far, frame.far_wall_std);
        frame.quality = std::min(frame.near_quality, frame.far_quality);
    }
    if (std::min(result.near.confidence, result.far.confidence) <
        options.confidence.least_confidence) {
        result.status = TrackStatus::no_artery;  // what was found is none
        result.frames.clear();
        return result;
    }
    result.status =
        2 * result.valid_frames() >= count ? TrackStatus::tracked : TrackStatus::mostly_invalid;
    return result;
}

ArteryMotion track_artery(const Recording& recording, const TrackOptions& options) {
    validate(options);
    return std::visit(
        [&](const auto& matrix) {
            const auto frames = matrix.view();
            require(frames.samples() >= 1, "samples a frame", frames.samples(),
                    "must be at least 1");
            TrackOptions own = options;
            own.baseband.offset =
                settled_offset(frames, recording.settings, options.baseband, options.offset);
            const Baseband<double> baseband = conditioned(frames, recording.settings, own.baseband);
            const std::vector<FrameState> states = check_frames(frames, baseband, options.frames);
            ArteryMotion motion = track_artery(baseband, states, own);
            apply(check_samples(frames, recording.settings, states, own.settings_check,
                                own.baseband.offset),
                  motion);
            return motion;
        },
        recording.samples);
}

std::vector<ArteryMotion> track_arteries(std::span<const Recording> recordings,
                                         const TrackOptions& options, std::size_t threads) {
    std::vector<ArteryMotion> motions(recordings.size());
    for_each_item(recordings.size(), threads,
                  [&](std::size_t k) { motions[k] = track_artery(recordings[k], options); });
    return motions;
}

}  // namespace echosieve
