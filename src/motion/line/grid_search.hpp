// The best of many places, from a coarse grid to ever finer ones about the best so far.
#pragma once

#include <limits>

namespace echosieve {

/// Steps to either side of a place.
struct GridAxis {
    double step = 0;
    long below = 0;
    long above = 0;
};

/// As many steps to either side.
[[nodiscard]] constexpr GridAxis steps_about(double step, long steps) noexcept {
    return {step, steps, steps};
}

/// The best place so far, and its value.
struct BestPlace {
    double x = 0;
    double y = 0;
    double value = -std::numeric_limits<double>::infinity();

    /// Tries the places of a grid about where this is now, `value(x, y)` at each; of equals the
    /// first one stays.
    template <class Value>
    void look_about(const GridAxis& along_x, const GridAxis& along_y, Value&& value_at) {
        const double from_x = x;
        const double from_y = y;
        for (long i = -along_x.below; i <= along_x.above; ++i) {
            for (long j = -along_y.below; j <= along_y.above; ++j) {
                const double at_x = from_x + static_cast<double>(i) * along_x.step;
                const double at_y = from_y + static_cast<double>(j) * along_y.step;
                const double found = value_at(at_x, at_y);
                if (found > value) {
                    *this = {at_x, at_y, found};
                }
            }
        }
    }
    template <class Value>
    void look_about(const GridAxis& along_x, Value&& value_at) {
        look_about(along_x, {}, [&](double at_x, double) { return value_at(at_x); });
    }
};

}  // namespace echosieve
