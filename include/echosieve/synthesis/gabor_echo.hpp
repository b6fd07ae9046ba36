// A Gaussian echo added to a rendered frame.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/recurrence.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/grid.hpp"

namespace echosieve::detail {

// Beyond so many nepers an echo is left out: exp(-16) = 1e-7 of its peak, a hundredth of a count.
inline constexpr double render_nepers = 16;

/// Adds the real echo to `frame`.
inline void render_echo(const Echo<Gabor<double>>& echo, const SamplingGrid& grid,
                        std::span<double> frame) {
    const double half = std::sqrt(render_nepers / decay(echo.atom));
    const auto clamp = [&](double index) {
        return static_cast<std::size_t>(std::clamp(index, 0.0, static_cast<double>(grid.count)));
    };
    const SampleRange range{clamp(std::ceil(grid.index(echo.atom.arrival - half))),
                            clamp(std::floor(grid.index(echo.atom.arrival + half)) + 1)};
    const double re = echo.amplitude.real();
    const double im = echo.amplitude.imag();
    for_each_by_recurrence(
        echo.atom, grid, range,
        [&](std::size_t n, double, double gr, double gi) { frame[n] += re * gr - im * gi; });
}

}  // namespace echosieve::detail
