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
#include "echosieve/motion/track_options.hpp"

namespace echosieve {

// The way (in src/motion): baseband (condition) -> frame check -> pulse and bulk motion of the
// whole line (common_motion.hpp, joint_motion.hpp) -> two walls that move apart (wall/finder.hpp),
// each taken out of the tissue on it (wall/separation.hpp, layers.hpp) -> its motion in every frame
// (own_motion.hpp) and its echoes (wall/echoes.hpp) -> smoothing -> the pulse's delay taken off
// the depths (pulse_delay.hpp). Research use: not a medical device, not for diagnosis.

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
