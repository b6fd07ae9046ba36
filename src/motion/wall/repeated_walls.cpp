#include "motion/wall/repeated_walls.hpp"

#include <algorithm>
#include <cstddef>
#include <limits>
#include <vector>

namespace echosieve {

namespace {

// Share of the wall over that of its repetition, a half; a scan errs by a third, where noise or the
// tissue on the wall blurs it.
constexpr double least_ratio = 0.3;
constexpr double most_ratio = 0.7;
// Evidence of all that moves in the lumen between, over that on either side: gates overlap, so that
// some is left.
constexpr double lumen_part = 0.25;
// Evidence of the wall over its repetition's: the weaker echo that moves further may show more.
constexpr double least_original = 0.1;
// Evidence over the wall's that is chance: a wall 13 dB below the tissue on it is not seen.
constexpr double chance_part = 0.05;

}  // namespace

std::vector<bool> repeated_walls(const std::vector<ScannedDepth>& depths, std::size_t side) {
    std::vector<bool> repeated(depths.size(), false);
    for (std::size_t k = 0; k < depths.size(); ++k) {
        const FastestShare& found = depths[k].directions[side];
        double between = std::numeric_limits<double>::infinity();  // least evidence so far
        for (std::size_t i = k; i-- > 0 && !repeated[k];) {
            const FastestShare& above = depths[i].directions[side];
            const bool slower = above.share > 0 && above.share <= most_ratio * found.share;
            const bool half = slower && above.share >= least_ratio * found.share;
            const bool lumen = between < lumen_part * std::min(found.total, above.total);
            repeated[k] = (half && lumen && above.total >= least_original * found.total) ||
                          (slower && found.total < chance_part * above.total);
            between = std::min(between, above.total);
        }
    }
    return repeated;
}

}  // namespace echosieve
