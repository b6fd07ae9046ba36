#include "echosieve/motion/block_motion.hpp"

#include <cstddef>
#include <vector>

#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "motion/line/slips.hpp"

namespace echosieve {

void validate(const BlockOptions& options) {
    const auto positive = [](double x, const char* name, const char* unit) {
        require(x > 0 && is_finite(x), name, x,
                detail::concatenate("must be positive and finite ", unit));
    };
    positive(options.length, "length", "[s]");
    positive(options.overlap, "overlap", "[s]");
    require(options.overlap <= options.length / 2, "overlap", options.overlap,
            detail::concatenate("must not exceed half of length, ", options.length / 2, " [s]"));
    positive(options.search_reach, "search_reach", "[m]");
    positive(options.largest_jump, "largest_jump", "[m]");
    require(options.confirmations >= 0, "confirmations", options.confirmations,
            "must be zero or more");
    positive(options.longest_gap, "longest_gap", "[s]");
    positive(options.shortest_fit, "shortest_fit", "[s]");
    require(options.shortest_fit <= options.length, "shortest_fit", options.shortest_fit,
            detail::concatenate("must not exceed length, ", options.length, " [s]"));
    positive(options.longest_loss, "longest_loss", "[s]");
    positive(options.drift_time, "drift_time", "[s]");
    validate(options.slips);
    validate(options.track);
    detail::require_at_most(options.search_reach, largest_option::length, "search_reach", "[m]");
    detail::require_at_most(options.largest_jump, largest_option::length, "largest_jump", "[m]");
}

TrackStatus status_of(std::size_t valid, std::size_t frames,
                      const std::vector<BlockRecord>& blocks) noexcept {
    for (const BlockRecord& block : blocks) {
        if (block.fitted_count > 0) {
            return 2 * valid >= frames ? TrackStatus::tracked : TrackStatus::mostly_invalid;
        }
    }
    return blocks.empty() ? TrackStatus::too_few_frames : blocks.front().status;
}

}  // namespace echosieve
