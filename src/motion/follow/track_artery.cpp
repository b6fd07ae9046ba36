#include "echosieve/motion/track_artery.hpp"

#include <cstddef>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/core/threads.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/track_options.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/follow/line_report.hpp"
#include "motion/follow/prepared_line.hpp"
#include "motion/wall/pulse_delay.hpp"
#include "motion/wall/recording_check.hpp"
#include "motion/wall/search.hpp"

namespace echosieve {

namespace {

ArteryMotion ended(ArteryMotion motion, TrackStatus status) {
    motion.status = status;
    return motion;
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
    if (!enough_frames(states, result)) {
        return ended(std::move(result), TrackStatus::too_few_frames);
    }
    const WallPlan plan = wall_plan(options);
    // Prepare, courses, tissue, find, separate, follow, report.
    PreparedLine prepared = prepare(baseband, states, options, result);
    const LineHistory& averaged = prepared.averaged;
    const CommonMotion courses = estimate_common_motion(averaged, options.motion);
    if (!courses.usable()) {
        return ended(std::move(result), TrackStatus::nothing_coherent);
    }
    turn_back_stretch(prepared, courses);
    result.coherence = courses.coherence;
    const std::optional<Tissue> tissue = fit_tissue(averaged, courses, plan.separation);
    std::vector<Hypothesis> hypotheses = find_hypotheses(averaged, tissue, plan);
    const std::optional<SeparatedWalls> found =
        separate_best(averaged, std::move(hypotheses), plan);
    if (!found) {
        warn_of_ranges(prepared.line, options.walls, result.warnings);
        return ended(std::move(result), TrackStatus::no_artery);
    }
    FollowedLine followed = follow_line(prepared, *found, options);
    result.pulse_delay = pulse_delay(averaged, *found, options.baseband, options.pulse);
    report_line(prepared, followed, options, result);
    return result;
}

ArteryMotion track_artery(const Recording& recording, const TrackOptions& options) {
    validate(options);
    const ConditionedFrames frames = condition(recording, options);
    ArteryMotion motion = track_artery(frames.baseband, frames.states, options);
    check_recording(recording, frames, options, motion);
    return motion;
}

std::vector<ArteryMotion> track_arteries(std::span<const Recording> recordings,
                                         const TrackOptions& options, std::size_t threads) {
    std::vector<ArteryMotion> motions(recordings.size());
    for_each_item(recordings.size(), threads,
                  [&](std::size_t k) { motions[k] = track_artery(recordings[k], options); });
    return motions;
}

}  // namespace echosieve
