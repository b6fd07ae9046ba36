#include "echosieve/motion/block_tracker.hpp"

#include <variant>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "motion/block_contact.hpp"
#include "motion/block_fit.hpp"
#include "echosieve/motion/block_motion.hpp"
#include "motion/block_stitching.hpp"

namespace echosieve {

BlockMotion track_in_blocks(const Recording& recording, const BlockOptions& options) {
    return std::visit(
        [&](const auto& frames) {
            return track_in_blocks(frames.view(), recording.settings, options);
        },
        recording.samples);
}

}  // namespace echosieve
