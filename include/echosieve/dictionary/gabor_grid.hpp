// A grid of Gabor atoms that covers a box so finely that every atom of the box resembles one of the
// grid.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/dictionary/gabor_box.hpp"

namespace echosieve {

// Symbols: alpha decay;  d, Df differences of arrival and frequency;  rho = alpha_1 / alpha_2
//   |<g1, g2>| of unit atoms with equal alpha:  exp(-alpha d^2 / 2 - pi^2 Df^2 / (2 alpha))
//   of atoms that differ in alpha alone:        sqrt(2 sqrt(rho) / (1 + rho))

/// Atoms on a product grid. With loss L (0.03: 3 %), an atom of the box and its nearest in the grid
/// have a correlation of at least (1 - L)^2 in arrival and frequency together, times the loss of
/// bandwidth, at most L. Throws InvalidInput for an invalid box or unless 0 < loss < 1.
[[nodiscard]] inline std::vector<Gabor<double>> gabor_grid(const GaborBox& box,
                                                           double loss = 0.03) {
    validate(box);
    require(loss > 0 && loss < 1, "loss", loss, "must lie in (0, 1)");
    const double nepers = -std::log1p(-loss);
    // Half a step away from the nearest grid point the exponent is `nepers`, at the worst
    // bandwidth.
    const double arrival_step =
        2 * std::sqrt(2 * nepers / decay_from_bandwidth(box.bandwidth.upper));
    const double frequency_step =
        2 * std::sqrt(2 * nepers * decay_from_bandwidth(box.bandwidth.lower)) / std::numbers::pi;
    // s = ln sqrt(alpha_1 / alpha_2) gives the correlation 1 / sqrt(cosh s).
    const double log_step = 2 * std::acosh(std::exp(2 * nepers));
    const auto points = [](double lower, double upper, double step) {
        const auto count =
            static_cast<std::size_t>(std::max(1.0, std::ceil((upper - lower) / step)));
        std::vector<double> places;
        for (std::size_t k = 0; k < count; ++k) {
            places.push_back(lower + (upper - lower) * (static_cast<double>(k) + 0.5) /
                                         static_cast<double>(count));
        }
        return places;
    };
    std::vector<Gabor<double>> atoms;
    for (const double log_bandwidth :
         points(std::log(box.bandwidth.lower), std::log(box.bandwidth.upper), log_step)) {
        const double bandwidth =
            std::clamp(std::exp(log_bandwidth), box.bandwidth.lower, box.bandwidth.upper);
        for (const double frequency :
             points(box.centre_frequency.lower, box.centre_frequency.upper, frequency_step)) {
            for (const double arrival : points(box.arrival.begin, box.arrival.end, arrival_step)) {
                atoms.push_back({arrival, frequency, bandwidth});
            }
        }
    }
    return atoms;
}

}  // namespace echosieve
