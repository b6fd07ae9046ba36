// A flat rectangular sensor: what lies beneath it, what beside it.
#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>

namespace echosieve {

// Symbols (x and y along the face from its middle, z away from it)
//   a, b  half width (x) and half length (y) of the face [m];  e  taper [m]
//   d     distance outside an edge, negative inside [m]
//   one way, and an edge: 1 for d <= -e;  (3 - cos(pi d / e)) / 4 for -e < d <= 0;
//                         1 / (2 (1 + d / e)) for d > 0
//
// Beneath the face the wave is plane and a scatterer answers from its depth z. Beside it only the
// wave that spreads from the edge reaches it: it answers from its distance to the nearest point of
// the face, and weaker the farther out it lies. That a straight edge halves the amplitude straight
// below it is textbook diffraction (Fresnel, from memory); the falling law is a plain stand-in.

struct FlatSensor {
    double half_width = 6e-3;   ///< a [m], > 0
    double half_length = 3e-3;  ///< b [m], > 0
    double taper = 1.5e-3;      ///< e, over which the face fades towards its edges [m], > 0

    /// Distance [m] of the nearest point of the face to (x, y, z >= 0) [m].
    [[nodiscard]] double distance(double x, double y, double z) const noexcept {
        const double over = std::max(std::abs(x) - half_width, 0.0);
        const double beyond = std::max(std::abs(y) - half_length, 0.0);
        const double square = over * over + beyond * beyond;
        return square > 0 ? std::sqrt(z * z + square) : z;
    }
    /// Amplitude of the echo of a scatterer at (x, y) [m], there and back: 1 beneath the middle.
    [[nodiscard]] double weight(double x, double y) const noexcept {
        const double once = edge(std::abs(x) - half_width) * edge(std::abs(y) - half_length);
        return once * once;
    }

private:
    [[nodiscard]] double edge(double d) const noexcept {
        if (d > 0) {
            return 1 / (2 * (1 + d / taper));
        }
        return (3 - std::cos(std::numbers::pi * std::max(d / taper, -1.0))) / 4;
    }
};

}  // namespace echosieve
