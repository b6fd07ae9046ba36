// What the fast path is set up with: its options, and their domain.
#pragma once

#include <cmath>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/pursuit/detail/lane_polish.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve {

/// With the default options a lone echo at 20 dB is within 0.04 of the Cramer-Rao bound of the
/// converged fit: three evaluations when it is chosen, three in the sweep. More evaluations or
/// sweeps explain a little more of crowded frames: a second sweep 0.05 % of the energy, for a third
/// of the time.
struct FastOptions {
    std::size_t atoms = 10;  ///< at most
    PolishOptions polish;    ///< of each atom, when it is chosen and in each sweep
    int sweeps = 1;          ///< over all atoms: each polished again on what the others leave
    Stop stop;
};

/// Most samples and atoms of the fast path: beyond, PursuitEngine serves better.
inline constexpr std::size_t fast_most_samples = 1024;
inline constexpr std::size_t fast_most_atoms = 64;

inline void validate(const FastOptions& options) {
    require(options.atoms >= 1 && options.atoms <= fast_most_atoms, "atoms", options.atoms,
            detail::concatenate("must lie in 1 to ", fast_most_atoms));
    validate(options.polish);
    require(options.sweeps >= 0, "sweeps", options.sweeps, "must be zero or more");
    validate(options.stop);
}

namespace detail {

/// Throws InvalidInput unless the fast path can serve the grid and box.
inline void validate_fast(const SamplingGrid& grid, const GaborBox& box) {
    validate(grid);
    validate(box);
    require(grid.count >= 1 && grid.count <= fast_most_samples, "count", grid.count,
            concatenate("must lie in 1 to ", fast_most_samples));
    require(
        grid.sampling_rate >= 2 * box.bandwidth.upper, "sampling_rate", grid.sampling_rate,
        concatenate("must be at least twice the box's bandwidth, ", box.bandwidth.upper, " [Hz]"));
    const double least = grid.sampling_rate / fast_most_samples;  // longer than any grid
    require(box.bandwidth.lower >= least, "bandwidth.lower", box.bandwidth.lower,
            concatenate("must be at least the sampling rate / ", fast_most_samples, ", ", least,
                        " [Hz]"));
    require(grid.sampling_rate > box.centre_frequency.width(), "sampling_rate", grid.sampling_rate,
            concatenate("must exceed the width of the box's frequencies, ",
                        box.centre_frequency.width(), " [Hz]"));
}

/// Square roots of the samples' weights; 1 if there are none.
template <Real R>
[[nodiscard]] std::vector<R> sample_factors(const SamplingGrid& grid,
                                            std::span<const double> weights) {
    require(weights.empty() || weights.size() == grid.count, "number of weights", weights.size(),
            concatenate("must be 0 or the grid's count, ", grid.count));
    std::vector<R> out(grid.count, R{1});
    for (std::size_t n = 0; n < weights.size(); ++n) {
        require(weights[n] > 0 && weights[n] <= 1, concatenate("weight ", n), weights[n],
                "must lie in (0, 1]");
        out[n] = static_cast<R>(std::sqrt(weights[n]));
    }
    return out;
}

/// The box in units of the grid, rotations counted from the box's centre.
[[nodiscard]] inline LaneBounds lane_bounds(const SamplingGrid& grid,
                                            const GaborBox& box) noexcept {
    const double step = grid.step();
    const double half = std::numbers::pi * box.centre_frequency.width() * step;
    return {{grid.index(box.arrival.begin), grid.index(box.arrival.end)},
            {-half, half},
            {decay_from_bandwidth(box.bandwidth.lower) * step * step,
             decay_from_bandwidth(box.bandwidth.upper) * step * step}};
}

}  // namespace detail
}  // namespace echosieve
