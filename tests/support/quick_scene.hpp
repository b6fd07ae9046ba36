// Options of a short, coarsely sampled recording of either simulator.
#pragma once

#include <variant>

#include "echosieve/synthesis/render.hpp"

namespace echosieve::test {

template <class Options>
[[nodiscard]] Options quick_scene() {
    Options options;
    options.duration = 0.5;
    options.settings.sampling_rate = 40e6;
    options.settings.frame_rate = 200;
    return options;
}

inline const FrameMatrix<float>& floats(const SyntheticRecording& made) {
    return std::get<FrameMatrix<float>>(made.recording.samples);
}

}  // namespace echosieve::test
