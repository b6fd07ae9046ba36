// Small synthetic recordings with known walls, as the comparison methods' tests use them.
#pragma once

#include <cstddef>
#include <variant>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/motion/gated_track.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "motion/compared_tracks.hpp"
#include "motion/line/line.hpp"
#include "support/following.hpp"

namespace echosieve::test {

/// One layer a wall, of pieces on the axis only, tissue and ring-down far down: a known motion and
/// little else. Coarse in both times, to render quickly.
inline SceneOptions quiet_scene() {
    SceneOptions options;
    options.duration = 2;
    options.settings.sampling_rate = 40e6;
    options.settings.frame_rate = 500;
    options.clutter_decibels = -60;
    options.snr_decibels = 40;
    options.inner_layer_decibels = -80;
    options.ring_down_decibels = -60;
    options.wall_spread = 0.03;
    options.scatterers_per_square = 1e6;
    return options;
}

inline LineHistory wall_line(const SyntheticRecording& made) {
    return std::visit(
        [&](const auto& frames) {
            const Baseband<double> baseband =
                to_baseband<double>(frames.view(), made.recording.settings);
            return line_history(baseband, check_frames(frames.view(), baseband));
        },
        made.recording.samples);
}

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
