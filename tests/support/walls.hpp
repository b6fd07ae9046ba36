// Small synthetic recordings with known walls.
#pragma once

#include <variant>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "motion/line/line.hpp"

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

}  // namespace echosieve::test
