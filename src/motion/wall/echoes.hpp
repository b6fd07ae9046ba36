// The wall's waveform at rest taken apart into echoes.
#pragma once

#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "motion/wall/fit.hpp"

namespace echosieve {

/// The wall's echoes at rest.
[[nodiscard]] std::vector<Echo<Gabor<double>>> wall_echoes(const SeparatedWall& wall,
                                                           const RecordingSettings& settings,
                                                           const WallEchoOptions& options = {});

}  // namespace echosieve
