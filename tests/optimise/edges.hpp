// What the tests of edges share: a pull to the bounds, and refusals as texts.
#pragma once

#include <cstddef>
#include <span>
#include <string>

#include "echosieve/core/box.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/concept.hpp"
#include "support/check.hpp"

namespace echosieve::test {

/// Pulled to the upper bound, or to the lower one; counts what lies outside.
template <Real R, class O>
void check_inside(const O& method, const Box<R>& box) {
    for (const R sign : {R(1), R(-1)}) {
        std::size_t outside = 0;
        const auto pull = [&](std::span<const R> x) {
            outside += box.contains(x) ? 0 : 1;
            R sum = 0;
            for (std::size_t k = 0; k < x.size(); ++k) {
                sum += box.width(k) > 0 ? sign * ((x[k] - box.lower(k)) / box.width(k)) : R(0);
            }
            return sum;
        };
        const auto result = minimise(pull, box, method, 5);
        CHECK(outside == 0);
        CHECK(box.contains(result.x));
        CHECK(result.usable());
    }
}

/// What a refusal says; "accepted" if there is none.
template <class F>
std::string refusal(const F& run) {
    try {
        run();
    } catch (const InvalidInput& error) {
        return error.what();
    }
    return "accepted";
}

}  // namespace echosieve::test
