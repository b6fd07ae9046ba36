// All that can be said of following an artery. Link echosieve::motion.
#pragma once

#include <cstddef>

#include "echosieve/condition/options.hpp"
#include "echosieve/core/detail/api.hpp"
#include "echosieve/motion/common_motion_options.hpp"
#include "echosieve/motion/pulse_delay.hpp"
#include "echosieve/motion/smoothing.hpp"
#include "echosieve/motion/wall_options.hpp"

namespace echosieve {

struct TrackOptions {
    BasebandOptions baseband;  ///< an offset other than 0 is taken for given
    OffsetOptions offset;      ///< of the one that is looked for, where none is given
    SettingsCheckOptions settings_check;
    FrameCheckOptions frames;
    ContactOptions contact;
    CommonMotionOptions motion;
    /// frames averaged while the walls are looked for, at 4 MHz; shorter in proportion above [s]
    double averaging = 4e-3;
    WallFinderOptions walls;
    WallSeparationOptions separation;
    WallSearchOptions search;
    WallMotionOptions wall_motion;
    WallEchoOptions echoes;
    PulseDelayOptions pulse;
    WallConfidenceOptions confidence;
    double least_correlation = 0.3;  ///< of a frame's wall with its echo; below it is not valid
    Smoothing smoothing = NoSmoothing{};  ///< the fit is smooth already
};

/// Fewer usable frames than this can't show a pulse.
inline constexpr std::size_t fewest_frames = 64;

/// Throws InvalidInput, naming option, value and limit.
ECHOSIEVE_API void validate(const TrackOptions& options);

}  // namespace echosieve
