#include "motion/follow/prepared_line.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <type_traits>
#include <variant>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "motion/courses/phase_track.hpp"
#include "motion/line/averaged_line.hpp"
#include "motion/line/contact.hpp"
#include "motion/line/numbers.hpp"
#include "motion/wall/recording_check.hpp"

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

}  // namespace

PreparedLine prepare(const BasebandView& baseband, const std::vector<FrameState>& states,
                     const TrackOptions& options, ArteryMotion& result) {
    PreparedLine out{line_history(baseband, states, options.walls.dead_zone), {}};
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

void turn_back_stretch(PreparedLine& prepared, const CommonMotion& motion) {
    if (motion.stretch.size() > 0) {
        LineHistory& line = prepared.line;
        prepared.averaged.stretch = motion.stretch;
        prepared.averaged.stretch_centre = line.stretch_centre = motion.stretch_centre;
        line.stretch = course_of_means(motion.stretch, line.frames(), prepared.length);
    }
}

ConditionedFrames condition(const Recording& recording, const TrackOptions& options) {
    return std::visit(
        [&](const auto& matrix) {
            const auto frames = matrix.view();
            require(frames.samples() >= 1, "samples a frame", frames.samples(),
                    "must be at least 1");
            BasebandOptions own = options.baseband;
            own.offset = settled_offset(frames, recording.settings, own, options.offset);
            ConditionedFrames out{conditioned(frames, recording.settings, own), {}, own.offset};
            out.states = check_frames(frames, out.baseband, options.frames);
            return out;
        },
        recording.samples);
}

WallPlan wall_plan(const TrackOptions& options) {
    return {options.walls, options.separation, options.search, options.wall_motion,
            options.confidence};
}

bool enough_frames(const std::vector<FrameState>& states, ArteryMotion& result) {
    const FrameCounts counted = count_states(states);
    result.clipped = counted.clipped;
    result.dropped = states.size() - counted.good - counted.clipped;
    return counted.good >= fewest_frames;
}

void check_recording(const Recording& recording, const ConditionedFrames& frames,
                     const TrackOptions& options, ArteryMotion& motion) {
    std::visit(
        [&](const auto& matrix) {
            apply(check_samples(matrix.view(), recording.settings, frames.states,
                                options.settings_check, frames.offset),
                  motion);
        },
        recording.samples);
}

}  // namespace echosieve
