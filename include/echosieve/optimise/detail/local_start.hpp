// Where a local method starts.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <span>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/random.hpp"

namespace echosieve::detail {

/// Writes a start into x that usable(), which evaluates it, likes: `start` clamped to the box, the
/// middle of the box if it is empty, and after that points drawn uniformly in the box, one an
/// iteration of at most `cost` evaluations. False if the search ended before there was one.
template <Real R, class S, class Usable>
[[nodiscard]] bool find_local_start(S& search, const Box<R>& box, std::uint64_t seed,
                                    std::span<const R> start, std::span<R> x, std::size_t cost,
                                    const Usable& usable) {
    for (std::size_t k = 0; k < x.size(); ++k) {
        const R at = start.empty() ? box.lower(k) + box.width(k) / 2 : start[k];
        x[k] = std::clamp(at, box.lower(k), box.upper(k));
    }
    RandomStream stream(seed);
    while (!usable()) {
        if (!search.goes_on(cost)) {
            return false;
        }
        for (std::size_t k = 0; k < x.size(); ++k) {
            x[k] = stream.uniform<R>(box.lower(k), box.upper(k));
        }
    }
    return true;
}

}  // namespace echosieve::detail
