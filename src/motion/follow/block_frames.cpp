#include "motion/follow/block_frames.hpp"

#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/track_artery.hpp"

namespace echosieve {

double reference_energy(const std::vector<double>& energies,
                        const std::vector<FrameState>& states) {
    std::vector<double> good;
    for (std::size_t i = 0; i < states.size(); ++i) {
        if (states[i] == FrameState::good && std::isfinite(energies[i])) {
            good.push_back(energies[i]);
        }
    }
    return detail::middle(std::move(good));
}

}  // namespace echosieve
