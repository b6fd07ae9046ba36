// A Gaussian echo added to a rendered frame.
#pragma once

#include <cmath>
#include <cstddef>
#include <span>

#include "echosieve/atoms/detail/recurrence.hpp"
#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/grid.hpp"

namespace echosieve::detail {

// Beyond so many nepers an echo is left out: exp(-16) = 1e-7 of its peak, a hundredth of a count.
inline constexpr double render_nepers = 16;

/// Adds the real echo to `frame`.
inline void render_echo(const Echo<Gabor<double>>& echo, const SamplingGrid& grid,
                        std::span<double> frame) {
    const double half = std::sqrt(render_nepers / decay(echo.atom));
    const SampleRange range =
        samples_between(grid, echo.atom.arrival - half, echo.atom.arrival + half);
    const double re = echo.amplitude.real();
    const double im = echo.amplitude.imag();
    for_each_by_recurrence(
        echo.atom, grid, range,
        [&](std::size_t n, double, double gr, double gi) { frame[n] += re * gr - im * gi; });
}

}  // namespace echosieve::detail
