// Gauss-Newton on an atom of a short grid, in lanes.
#pragma once

#include <limits>
#include <utility>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/pursuit/detail/atom_steps.hpp"
#include "echosieve/pursuit/detail/lane_array.hpp"
#include "echosieve/pursuit/detail/lane_atom.hpp"

namespace echosieve::detail {

using Polished = FittedPoint<LaneMoments>;

/// Where a polish finds and leaves its samples.
template <Real R>
struct PolishMemory {
    const LaneArray<R>& residual;
    LaneArray<R>& samples;  ///< of the atom, in the end
    LaneArray<R>& trial;    ///< work memory
};

/// Moves the atom uphill from `start`, which must lie within the bounds.
template <Real R>
[[nodiscard]] Polished polish(const LanePoint& start, const LaneGrid<R>& grid,
                              const AtomSteps& steps, const PolishMemory<R>& memory) noexcept {
    // What rounding makes of a gain must not keep an atom from its place.
    constexpr double rounding = 16 * double{std::numeric_limits<R>::epsilon()};
    Polished at{start, grid.moments(start, memory.residual, memory.samples)};
    fit_atom(
        at, steps, rounding,
        [&](const LanePoint& p) { return grid.moments(p, memory.residual, memory.trial); },
        [&] { std::swap(memory.samples, memory.trial); });
    return at;
}

}  // namespace echosieve::detail
