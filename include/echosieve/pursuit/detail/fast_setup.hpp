// What frames of the fast path may be, and how much each of their samples counts.
#pragma once

#include <cmath>
#include <cstddef>
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

/// Most samples and atoms of the fast path: beyond, PursuitEngine serves better.
inline constexpr std::size_t fast_most_samples = 1024;
inline constexpr std::size_t fast_most_atoms = 64;

namespace detail {

/// Throws InvalidInput unless so many atoms can be sought.
inline void validate_fast(std::size_t atoms) {
    require(atoms >= 1 && atoms <= fast_most_atoms, "atoms", atoms,
            concatenate("must lie in 1 to ", fast_most_atoms));
}

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

}  // namespace detail
}  // namespace echosieve
