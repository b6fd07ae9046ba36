#include "motion/follow/line_report.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>

#include "echosieve/core/recording.hpp"
#include "echosieve/motion/smoothing.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/follow/smoothing.hpp"
#include "motion/line/slow_time.hpp"
#include "motion/wall/curved_wall.hpp"
#include "motion/wall/deviation.hpp"
#include "motion/wall/echoes.hpp"
#include "motion/wall/every_frame.hpp"

namespace echosieve {

FollowedLine follow_line(const PreparedLine& prepared, const SeparatedWalls& found,
                         const TrackOptions& options) {
    const LineHistory& line = prepared.line;
    FollowedLine out;
    out.walls = at_every_frame(line, found, prepared.length);
    out.moved = follow_walls(line, out.walls, options.wall_motion, options.confidence);
    const auto seen = [&](const FollowedWall& wall, Eigen::Index k) {
        return wall.motion.correlation[k] > options.least_correlation;
    };
    for (Eigen::Index k = 0; k < line.frames(); ++k) {
        out.valid.push_back(line.usable[static_cast<std::size_t>(k)] && seen(out.moved.near, k) &&
                            seen(out.moved.far, k));
    }
    return out;
}

namespace {

// One wall in all frames: depths, standard deviations and qualities.
struct WallFrames {
    Eigen::ArrayXd depth;
    Eigen::ArrayXd noise;  // the part of the deviation that is each frame's own
    Eigen::ArrayXd deviation;
    Eigen::ArrayXd quality;
};

// Frames where the walls were not associated are bridged, then all are smoothed.
WallFrames frames_of(const FollowedWall& moved, const FollowedLine& followed, double rate,
                     const TrackOptions& options) {
    Eigen::ArrayXd displacement = moved.motion.displacement;
    bridge(displacement, followed.valid);
    WallFrames out;
    out.depth = moved.report.depth + smoothed(displacement, options.smoothing, rate);
    const auto frames = static_cast<Eigen::Index>(followed.valid.size());
    out.deviation = Eigen::ArrayXd::Constant(frames, std::numeric_limits<double>::quiet_NaN());
    out.noise = out.deviation;
    out.quality = Eigen::ArrayXd::Zero(frames);
    const DeviationParts parts = deviation_parts(moved.report, moved.report.pulse_share);
    for (Eigen::Index k = 0; k < frames; ++k) {
        if (followed.valid[static_cast<std::size_t>(k)]) {
            out.noise[k] = options.confidence.deviation.noise * moved.motion.deviation[k];
            const double deviation =
                wall_deviation(parts, out.noise[k], followed.walls.times.pulse[k]);
            const StatedWall said = stated(deviation, moved.report.confidence, options.confidence);
            out.deviation[k] = said.deviation;
            out.quality[k] = said.quality;
        }
    }
    return out;
}

// What the report of a wall says beside its confidence.
void complete(const SeparatedWall& wall, FollowedWall& moved, double lag,
              const RecordingSettings& settings, const WallEchoOptions& options) {
    WallReport& report = moved.report;
    const WallMotion& motion = moved.motion;
    report.depth = wall.state.depth - lag;
    report.reference = wall_echoes(wall, settings, options);
    for (Eigen::Index i = 0; i < motion.displacement.size(); ++i) {
        report.displacement.push_back(motion.displacement[i]);
        report.strength.push_back(motion.correlation[i] > 0 ? motion.strength[i].real() : 0.0);
    }
}

}  // namespace

void report_line(const PreparedLine& prepared, FollowedLine& followed, const TrackOptions& options,
                 ArteryMotion& result) {
    const LineHistory& line = prepared.line;
    const RecordingSettings& settings = line.settings;
    const double lag = settings.depth(result.pulse_delay.delay);
    auto& [near, far] = followed.moved;
    const DepthCorrection by = depth_correction(followed.walls, settings);
    result.depth_correction = by;
    result.diameter_level_std = std::hypot(by.near_deviation, by.far_deviation);  // no delay in it
    near.report.depth_std = depth_deviation(by.near_deviation, result.pulse_delay, settings);
    far.report.depth_std = depth_deviation(by.far_deviation, result.pulse_delay, settings);
    result.layer = options.separation.reference.layer;
    complete(followed.walls.near, near, lag + by.near, settings, options.echoes);
    complete(followed.walls.far, far, lag + by.far, settings, options.echoes);
    const double rate = settings.frame_rate;
    const WallFrames n = frames_of(near, followed, rate, options);
    const WallFrames f = frames_of(far, followed, rate, options);
    const DeviationParts near_parts = deviation_parts(near.report, near.report.pulse_share);
    const DeviationParts far_parts = deviation_parts(far.report, far.report.pulse_share);
    const double both_right = near.report.confidence * far.report.confidence;
    result.near = std::move(near.report);
    result.far = std::move(far.report);
    for (std::size_t i = 0; i < followed.valid.size(); ++i) {
        result.unassociated += line.usable[i] && !followed.valid[i] ? 1 : 0;
    }
    if (!followed.moved.trusted(options.confidence)) {
        result.status = TrackStatus::no_artery;  // what was found is none
        return;
    }
    result.frames.resize(followed.valid.size());
    for (std::size_t i = 0; i < result.frames.size(); ++i) {
        const auto k = static_cast<Eigen::Index>(i);
        FrameMotion& frame = result.frames[i];
        frame.time = static_cast<double>(i) / rate;
        frame.near_wall = n.depth[k];
        frame.far_wall = f.depth[k];
        frame.diameter = frame.far_wall - frame.near_wall;
        frame.valid = followed.valid[i];
        frame.near_wall_std = n.deviation[k];
        frame.far_wall_std = f.deviation[k];
        const double deviation =
            diameter_deviation(near_parts, far_parts, std::hypot(n.noise[k], f.noise[k]),
                               followed.walls.times.pulse[k], options.confidence.deviation);
        frame.diameter_std = mixed_deviation(deviation, both_right, options.confidence.deviation);
        frame.near_quality = n.quality[k];
        frame.far_quality = f.quality[k];
        frame.quality = std::min(frame.near_quality, frame.far_quality);
    }
    result.status = 2 * result.valid_frames() >= result.frames.size() ? TrackStatus::tracked
                                                                      : TrackStatus::mostly_invalid;
}

}  // namespace echosieve
