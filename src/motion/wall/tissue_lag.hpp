// Tissue that pulsates later than the walls: by how much, and the pulse put right for the walls.
#pragma once

#include "echosieve/motion/wall_options.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/fit.hpp"

namespace echosieve {

// Symbols (the rest as in layers.hpp)
//   p(t)  the walls' pulse;  p(t - T) the tissue's;  m share of p that was called bulk motion [m]
//
// The first p is the tissue's, so walls that move earlier look slower than they are. How early they
// are, and m, make both walls' gates most likely (model.hpp). Where p came from a wall
// instead, the tissue's gates say how late they are.

/// Looks for a lag, from walls that are roughly taken apart. If there is one, p becomes the walls',
/// times.lag the tissue's, and the tissue's gates follow it by that; says so. Throws InvalidInput
/// for a lag's options outside their domain.
[[nodiscard]] bool settle_tissue_lag(const LineHistory& line, SeparatedWalls& walls,
                                     const WallSeparationOptions& options);

}  // namespace echosieve
