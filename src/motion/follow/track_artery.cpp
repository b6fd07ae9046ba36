#include "echosieve/motion/track_artery.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <type_traits>
#include <utility>
#include <variant>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/detail/domain.hpp"
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
#include "motion/follow/followed_walls.hpp"
#include "motion/follow/smoothing.hpp"
#include "motion/layers/group_means.hpp"
#include "motion/line/averaged_line.hpp"
#include "motion/line/contact.hpp"
#include "motion/line/line.hpp"
#include "motion/line/numbers.hpp"
#include "motion/line/slow_time.hpp"
#include "motion/wall/curved_wall.hpp"
#include "motion/wall/deviation.hpp"
#include "motion/wall/echoes.hpp"
#include "motion/wall/every_frame.hpp"
#include "motion/wall/pulse_delay.hpp"
#include "motion/wall/recording_check.hpp"
#include "motion/wall/search.hpp"

namespace echosieve {

namespace {

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

// Averages over longer times leave nothing of a pulse [s].
constexpr double longest_averaging = 0.1;

ArteryMotion ended(ArteryMotion motion, TrackStatus status) {
    motion.status = status;
    return motion;
}

// The line in all frames, and averaged over a few: walls are looked for and taken apart in fewer
// frames, and followed in all.
struct Prepared {
    LineHistory line;
    LineHistory averaged;
    Eigen::Index length = 1;  // frames an average
};

Prepared prepare(const BasebandView& baseband, const std::vector<FrameState>& states,
                 const TrackOptions& options, ArteryMotion& result) {
    Prepared out{line_history(baseband, states, options.walls.dead_zone), {}};
    LineHistory& line = out.line;
    result.without_contact = leave_out_lost_contact(line, options.contact);
    warn_of_gain_steps(line, result.warnings);
    const RecordingSettings& settings = line.settings;
    const double shorter = std::min(1.0, usual_centre / settings.sensor.centre_frequency);
    out.length = held_whole(std::round(options.averaging * shorter * settings.frame_rate),
                            Eigen::Index{1}, line.frames());
    out.averaged = averaged_line(line, line_motion(line, options.motion.tracks),
                                 even_groups(line.frames(), out.length));
    return out;
}

// The pulse and bulk motion that all depths share; what stretches the line is turned back from
// here.
CommonMotion find_courses(Prepared& prepared, const CommonMotionOptions& options) {
    CommonMotion motion = estimate_common_motion(prepared.averaged, options);
    if (motion.stretch.size() > 0) {
        LineHistory& line = prepared.line;
        prepared.averaged.stretch = motion.stretch;
        prepared.averaged.stretch_centre = line.stretch_centre = motion.stretch_centre;
        line.stretch = course_of_means(motion.stretch, line.frames(), prepared.length);
    }
    return motion;
}

// Both walls in all frames, and the frames in which both are seen.
struct Followed {
    SeparatedWalls walls;
    FollowedWalls moved;
    std::vector<bool> valid;
};

Followed follow(const Prepared& prepared, const SeparatedWalls& found,
                const TrackOptions& options) {
    const LineHistory& line = prepared.line;
    Followed out;
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

// One wall in all frames: depths, standard deviations and qualities.
struct WallFrames {
    Eigen::ArrayXd depth;
    Eigen::ArrayXd noise;  // the part of the deviation that is each frame's own
    Eigen::ArrayXd deviation;
    Eigen::ArrayXd quality;
};

// Frames where the walls were not associated are bridged, then all are smoothed.
WallFrames frames_of(const FollowedWall& moved, const Followed& followed, double rate,
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

void report(const LineHistory& line, Followed& followed, const TrackOptions& options,
            ArteryMotion& result) {
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
}

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

ArteryMotion track_artery(const BasebandView& baseband, const std::vector<FrameState>& states,
                          const TrackOptions& options) {
    validate(options);
    validate(baseband);
    require_trackable(baseband.settings, baseband.grid, options.walls, options.separation);
    require(states.size() == baseband.frames(), "number of frame states", states.size(),
            detail::concatenate("must equal the frames, ", baseband.frames()));
    const FrameCounts counted = count_states(states);
    ArteryMotion result;
    result.clipped = counted.clipped;
    result.dropped = states.size() - counted.good - counted.clipped;
    if (counted.good < fewest_frames) {
        return ended(std::move(result), TrackStatus::too_few_frames);
    }
    const WallPlan plan{options.walls, options.separation, options.search, options.wall_motion,
                        options.confidence};
    // Prepare, courses, tissue, find, separate, follow, report.
    Prepared prepared = prepare(baseband, states, options, result);
    const CommonMotion courses = find_courses(prepared, options.motion);
    if (!courses.usable()) {
        return ended(std::move(result), TrackStatus::nothing_coherent);
    }
    result.coherence = courses.coherence;
    const LineHistory& averaged = prepared.averaged;
    const std::optional<Tissue> tissue = fit_tissue(averaged, courses, plan.separation);
    std::vector<Hypothesis> hypotheses = find_hypotheses(averaged, tissue, plan);
    const std::optional<SeparatedWalls> found =
        separate_best(averaged, std::move(hypotheses), plan);
    if (!found) {
        warn_of_ranges(prepared.line, options.walls, result.warnings);
        return ended(std::move(result), TrackStatus::no_artery);
    }
    Followed followed = follow(prepared, *found, options);
    result.pulse_delay = pulse_delay(averaged, *found, options.baseband, options.pulse);
    report(prepared.line, followed, options, result);
    if (!followed.moved.trusted(options.confidence)) {
        return ended(std::move(result), TrackStatus::no_artery);  // what was found is none
    }
    result.status = 2 * result.valid_frames() >= states.size() ? TrackStatus::tracked
                                                               : TrackStatus::mostly_invalid;
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
