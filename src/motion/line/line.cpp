#include "motion/line/line.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"
#include "motion/line/frame_run.hpp"
#include "motion/line/plain.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

// A wall that moves at 8 mm/s, as fast as walls do, passes half a wavelength of 4 MHz meanwhile: a
// longer gap leaves its cycle open [s].
constexpr double longest_bridged = 30e-3;
constexpr double shortest_run = 60e-3;  // that is worth tracks of its own [s]

}  // namespace

Eigen::ArrayXd LineHistory::slow_path(double depth) const {
    return stretch.size() > 0 ? Eigen::ArrayXd(stretch * (depth - stretch_centre))
                              : Eigen::ArrayXd::Zero(frames());
}

std::vector<FrameRun> LineHistory::runs() const {
    return contact_runs(usable, settings.frame_rate);
}

std::vector<FrameRun> contact_runs(const std::vector<bool>& usable, double frame_rate) {
    const auto in_frames = [&](double time) {
        return held_whole(std::round(time * frame_rate), std::size_t{0}, usable.size());
    };
    return runs_of(usable, in_frames(longest_bridged),
                   std::max<std::size_t>(2, in_frames(shortest_run)));
}

Eigen::ArrayXd LineHistory::weights() const {
    Eigen::ArrayXd w(frames());
    for (Eigen::Index i = 0; i < w.size(); ++i) {
        w[i] = usable[static_cast<std::size_t>(i)] ? 1 : 0;
    }
    return w;
}

LineHistory line_history(const BasebandView& baseband, const std::vector<FrameState>& states,
                         double dead_zone) {
    validate(baseband);
    require(states.size() == baseband.frames(), "number of frame states", states.size(),
            detail::concatenate("must equal the frames, ", baseband.frames()));
    LineHistory line{array_of(baseband), baseband.grid, baseband.settings, {}, {}, 0, dead_zone};
    line.usable.reserve(states.size());
    for (const FrameState state : states) {
        line.usable.push_back(state == FrameState::good);
    }
    bridge(line.samples, line.usable);
    return line;
}

}  // namespace echosieve
