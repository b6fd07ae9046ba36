#include "echosieve/motion/track_artery.hpp"

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

namespace {

// Bridges the frames where the wall was not associated, then smooths.
Eigen::ArrayXd smoothed(const Eigen::ArrayXd& displacement, const std::vector<bool>& valid,
                        const Smoothing& smoothing, double frame_rate) {
    Eigen::ArrayXd x = displacement;
    bridge(x, valid);
    return std::visit([&](const auto& smoother) { return Eigen::ArrayXd(smoother(x, frame_rate)); },
                      smoothing);
}

WallReport report(const WallCandidate& candidate, WallEchoes& echoes) {
    return {echoes.depth,
            candidate.fit.shares[0].pulse,
            candidate.fit.shares[0].bulk,
            candidate.fit.shares[1].pulse,
            candidate.fit.residual(),
            std::move(echoes.reference),
            std::move(echoes.echoes)};
}

}  // namespace

ArteryMotion track_artery(const Baseband<double>& baseband, const std::vector<FrameState>& states,
                          const TrackOptions& options) {
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
    const LineHistory line = line_history(baseband, states);
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
    const Eigen::ArrayXd near_motion = smoothed(near.displacement, valid, options.smoothing, rate);
    const Eigen::ArrayXd far_motion = smoothed(far.displacement, valid, options.smoothing, rate);
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
    result.near = report(walls->near, near);
    result.far = report(walls->far, far);
    result.status =
        2 * result.valid_frames() >= count ? TrackStatus::tracked : TrackStatus::mostly_invalid;
    return result;
}

ArteryMotion track_artery(const Recording& recording, const TrackOptions& options) {
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
