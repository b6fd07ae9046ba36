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
[[nodiscard]] inline std::vector<FrameRun> runs_of(const std::vector<bool>& usable,
                                                   std::size_t longest_gap, std::size_t shortest) {
    std::vector<FrameRun> runs;
    for (std::size_t i = 0; i < usable.size(); ++i) {
        if (!usable[i]) {
            continue;
        }
        const bool joined =
            !runs.empty() && i <= runs.back().first + runs.back().count + longest_gap;
        if (!joined) {
            runs.push_back({i, 0});
        }
        runs.back().count = i - runs.back().first + 1;
    }
    if (!runs.empty() && runs[0].first <= longest_gap) {  // the ends are gaps too
        runs[0].count += runs[0].first;
        runs[0].first = 0;
    }
    if (!runs.empty() && runs.back().first + runs.back().count + longest_gap >= usable.size()) {
        runs.back().count = usable.size() - runs.back().first;
    }
    std::erase_if(runs, [&](const FrameRun& run) { return run.count < shortest; });
    return runs;
}

}  // namespace echosieve
