// Runs of frames in contact, between gaps that are too long to be bridged.
#pragma once

#include <cstddef>
#include <vector>

namespace echosieve {

/// A run of frames.
struct FrameRun {
    std::size_t first = 0;
    std::size_t count = 0;
};

/// The runs, from a usable frame to a usable one, between gaps: more than `longest_gap` frames in
/// turn that are not usable. Those of fewer than `shortest` frames are left out. Where there is no
/// gap, one run holds all frames, usable or not.
[[nodiscard]] std::vector<FrameRun> runs_of(const std::vector<bool>& usable,
                                            std::size_t longest_gap, std::size_t shortest);

}  // namespace echosieve
