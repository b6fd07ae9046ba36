// The whole way from a recording to the motion of both artery walls, with no hand work.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <variant>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/common_motion.hpp"
#include "echosieve/motion/line.hpp"
#include "echosieve/motion/smoothing.hpp"
#include "echosieve/motion/wall_echoes.hpp"
#include "echosieve/motion/wall_finder.hpp"

namespace echosieve {

// The way: baseband (condition) -> frame check -> pulse and bulk motion of the whole line
// (common_motion.hpp) -> two walls that move apart, each with the tissue on it taken out
// (wall_finder.hpp, layers.hpp) -> the wall's echoes in every frame and their delay in closed form
// (wall_echoes.hpp) -> smoothing. Research use: not a medical device, not for diagnosis.

struct TrackOptions {
    BasebandOptions baseband;
    FrameCheckOptions frames;
    CommonMotionOptions motion;
    WallFinderOptions walls;
    WallEchoOptions echoes;
    Smoothing smoothing = GaussianSmoothing{};
};

inline void validate(const TrackOptions& options) {
    validate(options.baseband);
    validate(options.frames);
    validate(options.motion);
    validate(options.walls);
    validate(options.echoes);
    validate(options.smoothing);
}

/// Fewer usable frames than this can't show a pulse.
inline constexpr std::size_t fewest_frames = 64;

namespace detail {

[[nodiscard]] inline LineHistory line_history(const Baseband<double>& baseband,
                                              const std::vector<FrameState>& states) {
    LineHistory line{baseband.samples, baseband.grid, baseband.settings, {}};
    for (const FrameState state : states) {
        line.usable.push_back(state == FrameState::good);
    }
    bridge(line.samples, line.usable);
    return line;
}

// Bridges the frames where the wall was not associated, then smooths.
[[nodiscard]] inline Eigen::ArrayXd smoothed(const Eigen::ArrayXd& displacement,
                                             const std::vector<bool>& valid,
                                             const Smoothing& smoothing, double frame_rate) {
    Eigen::ArrayXd x = displacement;
    bridge(x, valid);
    return std::visit([&](const auto& smoother) { return Eigen::ArrayXd(smoother(x, frame_rate)); },
                      smoothing);
}

[[nodiscard]] inline WallReport report(const WallCandidate& candidate, WallEchoes& echoes) {
    return {echoes.depth,
            candidate.fit.shares[0].pulse,
            candidate.fit.shares[0].bulk,
            candidate.fit.shares[1].pulse,
            candidate.fit.residual(),
            std::move(echoes.reference),
            std::move(echoes.echoes)};
}

}  // namespace detail

/// Finds the artery in conditioned frames and follows both walls. `states` say which frames to use.
/// Throws InvalidInput if their number differs from the frames', or for options outside their
/// domain.
[[nodiscard]] inline ArteryMotion track_artery(const Baseband<double>& baseband,
                                               const std::vector<FrameState>& states,
                                               const TrackOptions& options = {}) {
    validate(options);
    require(states.size() == static_cast<std::size_t>(baseband.samples.rows()),
            "number of frame states", states.size(),
            detail::concatenate("must equal the frames, ", baseband.samples.rows()));
    ArteryMotion result;
    for (const FrameState state : states) {
        result.clipped += state == FrameState::clipped ? 1 : 0;
        result.dropped += state != FrameState::clipped && state != FrameState::good ? 1 : 0;
    }
    if (states.size() - result.clipped - result.dropped < fewest_frames) {
        result.status = TrackStatus::too_few_frames;
        return result;
    }
    const LineHistory line = detail::line_history(baseband, states);
    const CommonMotion motion = estimate_common_motion(line, options.motion);
    if (!motion.usable()) {
        result.status = TrackStatus::nothing_coherent;
        return result;
    }
    result.coherence = motion.coherence;
    const auto walls = find_walls(line, motion, options.walls);
    if (!walls) {
        result.status = TrackStatus::no_artery;
        return result;
    }
    const LayerTimes times{walls->pulse_sign * motion.pulse, motion.bulk, line.weights(),
                           line.settings.sound_speed};
    WallEchoes near = follow_wall(line, walls->near.gate, walls->near.fit, times, options.echoes);
    WallEchoes far = follow_wall(line, walls->far.gate, walls->far.fit, times, options.echoes);

    const std::size_t count = states.size();
    const double rate = line.settings.frame_rate;
    std::vector<bool> valid(count);
    for (std::size_t i = 0; i < count; ++i) {
        const auto k = static_cast<Eigen::Index>(i);
        valid[i] = line.usable[i] && near.correlation[k] > 0 && far.correlation[k] > 0;
        result.unassociated += line.usable[i] && !valid[i] ? 1 : 0;
    }
    const Eigen::ArrayXd near_motion =
        detail::smoothed(near.displacement, valid, options.smoothing, rate);
    const Eigen::ArrayXd far_motion =
        detail::smoothed(far.displacement, valid, options.smoothing, rate);
    constexpr double unknown = std::numeric_limits<double>::quiet_NaN();
    result.frames.resize(count);
    for (std::size_t i = 0; i < count; ++i) {
        const auto k = static_cast<Eigen::Index>(i);
        FrameMotion& frame = result.frames[i];
        frame.time = static_cast<double>(i) / rate;
        frame.near_wall = near.depth + near_motion[k];
        frame.far_wall = far.depth + far_motion[k];
        frame.diameter = frame.far_wall - frame.near_wall;
        frame.valid = valid[i];
        frame.near_wall_std = valid[i] ? near.deviation[k] : unknown;
        frame.far_wall_std = valid[i] ? far.deviation[k] : unknown;
        frame.diameter_std = std::hypot(frame.near_wall_std, frame.far_wall_std);
        frame.quality = valid[i] ? std::min(near.correlation[k], far.correlation[k]) : 0;
    }
    result.near = detail::report(walls->near, near);
    result.far = detail::report(walls->far, far);
    result.status =
        2 * result.valid_frames() >= count ? TrackStatus::tracked : TrackStatus::mostly_invalid;
    return result;
}

/// Conditions a recording, finds the artery in it and follows both walls.
/// Throws InvalidInput for settings or options outside their domain.
[[nodiscard]] inline ArteryMotion track_artery(const Recording& recording,
                                               const TrackOptions& options = {}) {
    validate(options);
    return std::visit(
        [&](const auto& frames) {
            const Baseband<double> baseband =
                to_baseband<double>(frames.view(), recording.settings, options.baseband);
            return track_artery(baseband, check_frames(frames.view(), baseband, options.frames),
                                options);
        },
        recording.samples);
}

}  // namespace echosieve
