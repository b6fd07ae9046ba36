#include "echosieve/motion/track_lines.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/threads.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/follow/line_report.hpp"
#include "motion/follow/lines_search.hpp"
#include "motion/follow/lines_summary.hpp"
#include "motion/follow/prepared_line.hpp"
#include "motion/wall/pulse_delay.hpp"
#include "motion/wall/recording_check.hpp"

namespace echosieve {

namespace {

// A line while it is followed.
struct LineInWork {
    ConditionedFrames frames;  // once it is prepared, without its samples
    PreparedLine prepared;
    bool usable = false;
};

LineInWork prepared_line(const Recording& recording, const TrackOptions& options,
                         ArteryMotion& motion) {
    LineInWork out;
    out.frames = condition(recording, options);
    require_trackable(recording.settings, out.frames.baseband.grid, options.walls,
                      options.separation);
    out.usable = enough_frames(out.frames.states, motion);
    motion.status = TrackStatus::too_few_frames;
    if (out.usable) {
        out.prepared = prepare(out.frames.baseband, out.frames.states, options, motion);
        motion.status = TrackStatus::nothing_coherent;
    }
    out.frames.baseband.samples.resize(0, 0);
    return out;
}

// What is known of one line alone.
LinesMotion one_line(const Recording& recording, const TrackOptions& options) {
    LinesMotion out;
    out.lines.resize(1);
    ArteryMotion& motion = out.lines[0].motion;
    motion = track_artery(recording, options);
    out.status = motion.status;
    out.frames = motion.frames;
    out.lines[0].weight = motion.frames.empty() ? 0 : 1;
    return out;
}

// Of the lines that found no walls.
TrackStatus worst_status(const std::vector<LineMotion>& lines) {
    TrackStatus status = TrackStatus::too_few_frames;
    for (const LineMotion& line : lines) {
        status = std::max(status, line.motion.status);
    }
    return status;
}

TrackStatus status_of(const LinesMotion& motion) {
    if (motion.frames.empty()) {
        return worst_status(motion.lines);
    }
    const auto valid = static_cast<std::size_t>(
        std::ranges::count_if(motion.frames, [](const FrameMotion& m) { return m.valid; }));
    return 2 * valid >= motion.frames.size() ? TrackStatus::tracked : TrackStatus::mostly_invalid;
}

// All lines of a recording on their way from samples to walls.
class LineTracker {
public:
    LineTracker(const RecordedLines& recorded, const LinesOptions& options)
        : recorded_(recorded), options_(options), work_(recorded.line_count()) {
        motion_.lines.resize(work_.size());
    }

    [[nodiscard]] LinesMotion run() && {
        for_each_item(work_.size(), options_.threads, [&](std::size_t k) {
            work_[k] = prepared_line(recorded_.lines[k], options_.track, motion_.lines[k].motion);
        });
        const LinesInView view = in_view();
        if (!view.lines.empty()) {
            follow(view, search(view));
        }
        for_each_item(work_.size(), options_.threads, [&](std::size_t k) {
            check_recording(recorded_.lines[k], work_[k].frames, options_.track,
                            motion_.lines[k].motion);
        });
        pool_lines(motion_);
        set_delays(motion_, recorded_.lines[0].settings.frame_rate);
        motion_.placement = placement_of(motion_.lines, recorded_.positions, recorded_.offsets);
        motion_.status = status_of(motion_);
        return std::move(motion_);
    }

private:
    [[nodiscard]] LinesInView in_view() {
        LinesInView view;
        for (std::size_t k = 0; k < work_.size(); ++k) {
            if (work_[k].usable) {
                usable_.push_back(k);
                view.lines.push_back(&work_[k].prepared.averaged);
                if (!recorded_.positions.empty()) {
                    view.positions.push_back(recorded_.positions[k]);
                }
            }
        }
        return view;
    }

    [[nodiscard]] SearchedLines search(const LinesInView& view) {
        std::vector<CommonMotion> motions =
            estimate_common_motions(view.lines, options_.track.motion);
        for (std::size_t n = 0; n < usable_.size(); ++n) {
            if (motions[n].usable()) {
                ArteryMotion& motion = motion_.lines[usable_[n]].motion;
                motion.status = TrackStatus::no_artery;
                motion.coherence = motions[n].coherence;
                turn_back_stretch(work_[usable_[n]].prepared, motions[n]);
            }
        }
        return search_lines(view, std::move(motions), options_);
    }

    void follow(const LinesInView& view, const SearchedLines& found) {
        if (found.lines.empty()) {
            return;
        }
        const TrackOptions& track = options_.track;
        const PulseDelay pulse = pulse_delay(*view.lines[found.lead], found.lines[found.lead].walls,
                                             track.baseband, track.pulse);
        for_each_item(usable_.size(), options_.threads, [&](std::size_t n) {
            if (!found.lines[n].found) {
                return;
            }
            LineMotion& line = motion_.lines[usable_[n]];
            const PreparedLine& prepared = work_[usable_[n]].prepared;
            FollowedLine followed = follow_line(prepared, found.lines[n].walls, track);
            line.motion.pulse_delay = pulse;
            report_line(prepared, followed, track, line.motion);
        });
    }

    const RecordedLines& recorded_;
    const LinesOptions& options_;
    std::vector<LineInWork> work_;
    std::vector<std::size_t> usable_;  // of the lines, those in view
    LinesMotion motion_;
};

}  // namespace

void validate(const LinesOptions& options) {
    constexpr double steepest = 1;    // 45 degrees: no wall answers a sensor along it
    constexpr double furthest = 0.1;  // deeper than any artery [m]
    validate(options.track);
    require(options.largest_tilt >= 0 && options.largest_tilt <= steepest, "largest_tilt",
            options.largest_tilt, "must lie in [0, 1]");
    require(options.depth_reach >= 0 && options.depth_reach <= furthest, "depth_reach",
            options.depth_reach, "must lie in [0, 0.1] [m]");
    require(options.unknown_reach >= 0 && options.unknown_reach <= furthest, "unknown_reach",
            options.unknown_reach, "must lie in [0, 0.1] [m]");
    require(options.most_searches >= 1, "most_searches", options.most_searches,
            "must be at least 1");
    validate_threads(options.threads);
}

LinesMotion track_lines(const RecordedLines& recorded, const LinesOptions& options) {
    validate(options);
    validate(recorded);
    return recorded.line_count() == 1 ? one_line(recorded.lines[0], options.track)
                                      : LineTracker(recorded, options).run();
}

}  // namespace echosieve
