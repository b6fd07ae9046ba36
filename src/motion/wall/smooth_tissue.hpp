// Whether a gate needs a wall, or tissue that moves smoothly over depth explains it as well.
#pragma once

#include "echosieve/core/recording.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/layers/layers.hpp"
#include "motion/wall/fit.hpp"

namespace echosieve {

// Symbols (the rest as in model.hpp)
//   H_w   the gate as it was taken apart: a wall's sheet, tissue of every slower share on it
//   H_s   tissue alone, one share at each depth: a(d) = a + kappa a_r d / (R - d) all over the
//   gate,
//         echoes as strong at one depth as at another; what stands still as in H_w
//   presence = (ln p(Y | H_w) - ln p(Y | H_s)) / values, H_s with a, kappa and its echoes' power as
//         they are likeliest
//
// Tissue beside an artery pulsates with it, most where the walls would be: a gate of it moves as
// fast as one with a wall, but all of it does. A wall moves past the tissue on it.

/// Log evidence for a wall in its gate over smooth tissue, per independent value: frames and bins.
[[nodiscard]] double wall_presence(const SeparatedWall& wall, const LayerTimes& times,
                                   const RecordingSettings& settings,
                                   const WallModelOptions& options);

}  // namespace echosieve
