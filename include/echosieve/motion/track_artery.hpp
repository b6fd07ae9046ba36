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

/// Finds the artery in conditioned frames and follows both walls. `states` say which frames to use.
/// Throws InvalidInput if their number differs from the frames', or for options outside their
/// domain.
[[nodiscard]] ArteryMotion track_artery(const Baseband<double>& baseband,
                                        const std::vector<FrameState>& states,
                                        const TrackOptions& options = {});

/// Conditions a recording, finds the artery in it and follows both walls.
/// Throws InvalidInput for settings or options outside their domain.
[[nodiscard]] ArteryMotion track_artery(const Recording& recording,
                                        const TrackOptions& options = {});

}  // namespace echosieve
