// Places that look like a wall and only repeat one: its echo that went to and fro twice.
#pragma once

#include <cstddef>
#include <vector>

#include "motion/wall/share_scan.hpp"

namespace echosieve {

// What runs between wall and sensor twice comes back as from twice the depth or from elsewhere
// beneath, and moves twice as far as the wall: faster than any wall, which is what the finder looks
// for. It lies in the lumen, at the far wall or beneath, so that a stretch without such motion, the
// lumen, lies between; and the wall itself, half as fast, is the stronger echo. Tissue on a wall is
// slower than it, too, but nothing lies between. In the lumen noise alone may give a fast share as
// well, of next to no evidence beside the wall's.

/// For each depth whether what moves there to this side ([0] up, [1] down) repeats what moves to
/// the same side above it, or is chance beside that.
[[nodiscard]] std::vector<bool> repeated_walls(const std::vector<ScannedDepth>& depths,
                                               std::size_t side);

}  // namespace echosieve
