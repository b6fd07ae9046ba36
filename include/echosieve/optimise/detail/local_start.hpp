// Where a local method starts.
#pragma once

#include <cstddef>
#include <span>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/random.hpp"

namespace echosieve::detail {

/// Writes a start into x that usable(), which evaluates it, likes: the search's start clamped to
/// the box, the middle of the box if it is empty, and after that points drawn uniformly in the box,
/// one an iteration of at most `cost` evaluations. False if the search ended before there was one.
template <class S, Real R, class Usable>
[[nodiscard]] bool find_local_start(S& search, std::span<R> x, std::size_t cost,
                                    const Usable& usable) {
    const Box<R>& box = search.task().box;
    search.write_start(x);
    RandomStream stream(search.task().seed);
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
