// Where a wall is looked for, once it is nearly known.
#pragma once

#include <algorithm>

#include "echosieve/motion/wall_options.hpp"

namespace echosieve {

/// What of `allowed` lies within `reach` of a depth [m]; all of it, if nothing does.
[[nodiscard]] inline DepthRange narrowed(const DepthRange& allowed, double depth,
                                         double reach) noexcept {
    const DepthRange range{std::max(allowed.from, depth - reach),
                           std::min(allowed.to, depth + reach)};
    return range.from <= range.to ? range : allowed;
}

}  // namespace echosieve
