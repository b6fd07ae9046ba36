// Gates where the truth has the walls, and what is made of them beside it.
#pragma once

#include <cstddef>

#include "baselines/gated_track.hpp"
#include "echosieve/synthesis/render.hpp"
#include "support/following.hpp"

namespace echosieve::test {

using baselines::WallGates;
using baselines::WallPairTrack;

/// Gates about the outer layers' mean depths.
inline WallGates true_gates(const Truth& truth) {
    WallGates gates;
    for (const WallDepths& w : truth.walls) {
        gates.near.depth += w.near_outer / static_cast<double>(truth.walls.size());
        gates.far.depth += w.far_outer / static_cast<double>(truth.walls.size());
    }
    return gates;
}

/// Gates about the outer layers as they are in the first frame.
inline WallGates first_frame_gates(const Truth& truth) {
    return {{truth.walls.front().near_outer}, {truth.walls.front().far_outer}};
}

/// rms error of the outer distension, mean removed, over the frames that were not dropped [m].
inline double distension_error(const WallPairTrack& track, const Truth& truth) {
    Spread errors;
    for (std::size_t i = 0; i < truth.walls.size(); ++i) {
        if (truth.dropped[i]) {
            continue;
        }
        const WallDepths& w = truth.walls[i];
        errors.add(track.far_wall[i] - track.near_wall[i] - (w.far_outer - w.near_outer));
    }
    return errors.deviation();
}

}  // namespace echosieve::test
