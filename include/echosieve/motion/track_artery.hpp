// The whole way from a recording to the motion of both artery walls, with no hand work. Link
// echosieve::motion.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/condition/options.hpp"
#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/common_motion_options.hpp"
#include "echosieve/motion/pulse_delay.hpp"
#include "echosieve/motion/smoothing.hpp"
#include "echosieve/motion/wall_options.hpp"

namespace echosieve {

// The way (in src/motion): baseband (condition) -> frame check -> pulse and bulk motion of the
// whole line (common_motion.hpp, joint_motion.hpp) -> two walls that move apart (wall/finder.hpp),
// each taken out of the tissue on it (wall/separation.hpp, layers.hpp) -> its motion in every frame
// (own_motion.hpp) and its echoes (wall/echoes.hpp) -> smoothing -> the pulse's delay taken off
// the depths (pulse_delay.hpp). Research use: not a medical device, not for diagnosis.

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

/// Finds the artery in conditioned frames (a Baseband<double>, say) and follows both walls.
/// `states` say which frames to use. Throws InvalidInput if their number differs from the frames',
/// or as the other one does.
[[nodiscard]] ECHOSIEVE_API ArteryMotion track_artery(const BasebandView& baseband,
                                                      const std::vector<FrameState>& states,
                                                      const TrackOptions& options = {});

/// Conditions a recording, finds the artery in it and follows both walls. A constant offset of the
/// samples is taken off first; settings that the samples contradict lower the qualities and are
/// named among the warnings, with both figures (settings_check.hpp).
/// Throws InvalidInput for settings or options outside their domain, for a sensor that no artery
/// can be followed with, and for ranges of the walls outside the recording.
[[nodiscard]] ECHOSIEVE_API ArteryMotion track_artery(const Recording& recording,
                                                      const TrackOptions& options = {});

/// Many recordings, each as track_artery follows it, on `threads` threads: the same bits on any
/// number of them. Each thread needs the memory that one recording takes. Throws as track_artery
/// does, for the first recording that it refuses, and as for_each_item does.
[[nodiscard]] ECHOSIEVE_API std::vector<ArteryMotion> track_arteries(
    std::span<const Recording> recordings, const TrackOptions& options = {},
    std::size_t threads = 1);

}  // namespace echosieve
