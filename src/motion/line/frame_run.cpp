#include "motion/line/frame_run.hpp"

#include <cstddef>
#include <vector>

namespace echosieve {

std::vector<FrameRun> runs_of(const std::vector<bool>& usable, std::size_t longest_gap,
                              std::size_t shortest) {
    std::vector<FrameRun> runs;
    for (std::size_t i = 0; i < usable.size(); ++i) {
        if (!usable[i]) {
            continue;
        }
        const bool joined =
            !runs.empty() && i - (runs.back().first + runs.back().count) <= longest_gap;
        if (!joined) {
            runs.push_back({i, 0});
        }
        runs.back().count = i - runs.back().first + 1;
    }
    if (!runs.empty() && runs[0].first <= longest_gap) {  // the ends are gaps too
        runs[0].count += runs[0].first;
        runs[0].first = 0;
    }
    if (!runs.empty() && usable.size() - (runs.back().first + runs.back().count) <= longest_gap) {
        runs.back().count = usable.size() - runs.back().first;
    }
    std::erase_if(runs, [&](const FrameRun& run) { return run.count < shortest; });
    return runs;
}

}  // namespace echosieve
