// A course between its values.
#pragma once

#include <array>

namespace echosieve {

/// At x, the cubic through y at 0, 1, 2 and 3 (Lagrange).
[[nodiscard]] inline double cubic_through(const std::array<double, 4>& y, double x) noexcept {
    return y[0] * -(x - 1) * (x - 2) * (x - 3) / 6 + y[1] * x * (x - 2) * (x - 3) / 2 -
           y[2] * x * (x - 1) * (x - 3) / 2 + y[3] * x * (x - 1) * (x - 2) / 6;
}

}  // namespace echosieve
