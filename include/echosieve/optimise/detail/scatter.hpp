// Points scattered evenly over a box.
#pragma once

#include <algorithm>
#include <cstddef>
#include <span>
#include <utility>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/detail/point_table.hpp"

namespace echosieve::detail {

// Latin hypercube (McKay, Beckman and Conover 1979): in each coordinate one point in each of
// `count` equal parts of the box, in an order of its own. Writes points 0 .. count - 1 of the
// table, coordinates first .. first + box.dimension() - 1.
template <Real R>
void scatter(const Box<R>& box, RandomStream& stream, std::size_t count, PointTable<R>& table,
             std::size_t first = 0) {
    for (std::size_t k = 0; k < box.dimension(); ++k) {
        const double lower = static_cast<double>(box.lower(k));
        const double width = static_cast<double>(box.upper(k)) - lower;
        for (std::size_t i = 0; i < count; ++i) {
            const double part =
                (static_cast<double>(i) + stream.uniform()) / static_cast<double>(count);
            table(i, first + k) =
                std::clamp(static_cast<R>(lower + part * width), box.lower(k), box.upper(k));
        }
        for (std::size_t i = count; i > 1; --i) {  // Fisher and Yates
            std::swap(table(i - 1, first + k), table(stream.index(i), first + k));
        }
    }
}

}  // namespace echosieve::detail
