#include "echosieve/motion/line.hpp"

#include "echosieve/motion/slow_time.hpp"

namespace echosieve {

LineHistory line_history(const Baseband<double>& baseband, const std::vector<FrameState>& states) {
    require(states.size() == static_cast<std::size_t>(baseband.samples.rows()),
            "number of frame states", states.size(),
            detail::concatenate("must equal the frames, ", baseband.samples.rows()));
    LineHistory line{baseband.samples, baseband.grid, baseband.settings, {}, {}, 0};
    line.usable.reserve(states.size());
    for (const FrameState state : states) {
        line.usable.push_back(state == FrameState::good);
    }
    bridge(line.samples, line.usable);
    return line;
}

}  // namespace echosieve
