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

/// The runs between gaps: more than `longest_gap` frames in turn that are not usable. Shorter
/// stretches belong to the run beside them, at the ends of the recording too. Runs of fewer than
/// `shortest` frames are left out, and none holds no usable frame.
[[nodiscard]] std::vector<FrameRun> runs_of(const std::vector<bool>& usable,
                                            std::size_t longest_gap, std::size_t shortest);

}  // namespace echosieve
