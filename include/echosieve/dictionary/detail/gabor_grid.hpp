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
#include "echosieve/dictionary/atom_box.hpp"

namespace echosieve {

// Symbols: alpha decay;  d, Df differences of arrival and frequency;  rho = alpha_1 / alpha_2
//   |<g1, g2>| of unit atoms with equal alpha:  exp(-alpha d^2 / 2 - pi^2 Df^2 / (2 alpha))
//   of atoms that differ in alpha alone:        sqrt(2 sqrt(rho) / (1 + rho))

/// Larger grids than this (240 MB) are taken for a slip in the box or in the loss.
inline constexpr double most_grid_atoms = 1e7;

/// What the pursuits' grids lose: a refinement starts in the right valley, and a finer grid costs
/// more than it saves.
inline constexpr double usual_loss = 0.03;

/// Atoms on a product grid. With loss L (0.03: 3 %), an atom of the box and its nearest in the grid
/// have a correlation of at least (1 - L)^2 in arrival and frequency together, times the loss of
/// bandwidth, at most L. Throws InvalidInput for an invalid box, unless 0 < loss < 1, or for a grid
/// of more than most_grid_atoms, before anything is allocated.
[[nodiscard]] inline std::vector<Gabor<double>> gabor_grid(const GaborBox& box,
                                                           double loss = usual_loss) {
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
    const auto count = [](double lower, double upper, double step) {
        return std::max(1.0, std::ceil((upper - lower) / step));
    };
    const Interval logs{std::log(box.bandwidth.lower), std::log(box.bandwidth.upper)};
    const double bandwidths = count(logs.lower, logs.upper, log_step);
    const double frequencies =
        count(box.centre_frequency.lower, box.centre_frequency.upper, frequency_step);
    const double arrivals = count(box.arrival.begin, box.arrival.end, arrival_step);
    const double number = bandwidths * frequencies * arrivals;
    require(
        number <= most_grid_atoms, "atoms of the grid", number,
        detail::concatenate("must not exceed ", most_grid_atoms, ": ", bandwidths, " bandwidths, ",
                            frequencies, " frequencies, ", arrivals, " arrivals"));
    const auto place = [](double lower, double upper, std::size_t k, double of) {
        return lower + (upper - lower) * (static_cast<double>(k) + 0.5) / of;
    };
    std::vector<Gabor<double>> atoms;
    atoms.reserve(static_cast<std::size_t>(number));
    for (std::size_t b = 0; b < static_cast<std::size_t>(bandwidths); ++b) {
        const double bandwidth = std::clamp(std::exp(place(logs.lower, logs.upper, b, bandwidths)),
                                            box.bandwidth.lower, box.bandwidth.upper);
        for (std::size_t f = 0; f < static_cast<std::size_t>(frequencies); ++f) {
            const double frequency =
                place(box.centre_frequency.lower, box.centre_frequency.upper, f, frequencies);
            for (std::size_t a = 0; a < static_cast<std::size_t>(arrivals); ++a) {
                atoms.push_back(
                    {place(box.arrival.begin, box.arrival.end, a, arrivals), frequency, bandwidth});
            }
        }
    }
    return atoms;
}

}  // namespace echosieve
