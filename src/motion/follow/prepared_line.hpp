// A line made ready to be followed: in all frames, and averaged over a few.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/track_options.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/search.hpp"

namespace echosieve {

/// The line in all frames, and averaged over a few: walls are looked for and taken apart in fewer
/// frames, and followed in all.
struct PreparedLine {
    LineHistory line;
    LineHistory averaged;
    Eigen::Index length = 1;  ///< frames an average
};

/// Tells `result` of frames without contact and of steps of the gain.
[[nodiscard]] PreparedLine prepare(const BasebandView& baseband,
                                   const std::vector<FrameState>& states,
                                   const TrackOptions& options, ArteryMotion& result);

/// What stretches the line with time is turned back from here.
void turn_back_stretch(PreparedLine& prepared, const CommonMotion& motion);

/// A recording's frames in baseband, and which of them to use.
struct ConditionedFrames {
    Baseband<double> baseband;
    std::vector<FrameState> states;
    double offset = 0;  ///< that was taken off the samples
};

[[nodiscard]] ConditionedFrames condition(const Recording& recording, const TrackOptions& options);

/// How its walls are looked for.
[[nodiscard]] WallPlan wall_plan(const TrackOptions& options);

/// Counts the frames that are no good in `result`; false if what is left is too few.
[[nodiscard]] bool enough_frames(const std::vector<FrameState>& states, ArteryMotion& result);

/// What the samples say of the settings, see check_settings, told to `motion`.
void check_recording(const Recording& recording, const ConditionedFrames& frames,
                     const TrackOptions& options, ArteryMotion& motion);

}  // namespace echosieve
