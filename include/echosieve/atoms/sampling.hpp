// Atoms and echoes written onto a sampling grid: real, analytic or shifted to baseband.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <span>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"

namespace echosieve {

/// Beyond this many nepers under its peak an atom is taken as zero: exp(-45) = 3e-20 of the peak,
/// below the rounding of a double sum of atoms.
inline constexpr double negligible_nepers = 45;

namespace detail {

// The samples of the grid from `begin` to `end` [s]. What is no number is taken for its start.
[[nodiscard]] inline SampleRange samples_between(const SamplingGrid& grid, double begin,
                                                 double end) noexcept {
    const auto held = [&](double index) {
        return index > 0
                   ? static_cast<std::size_t>(std::min(index, static_cast<double>(grid.count)))
                   : 0;
    };
    const std::size_t first = held(std::ceil(grid.index(begin)));
    return {first, std::max(first, held(std::floor(grid.index(end)) + 1))};
}

}  // namespace detail

/// The samples on which the atom's envelope is not negligible (see negligible_nepers). Atom and
/// grid are valid ones.
template <Atom A>
[[nodiscard]] SampleRange support(const A& atom, const SamplingGrid& grid) noexcept {
    const double half =
        std::sqrt(negligible_nepers / decay_from_bandwidth(static_cast<double>(atom.bandwidth)));
    const double arrival = static_cast<double>(atom.arrival);
    return detail::samples_between(grid, arrival - half, arrival + half);
}

namespace detail {

/// Calls write(i, g(t_i) exp(-i 2 pi f_m t_i)) for the samples of the atom's support.
template <Atom A, class Write>
void for_each_sample(const A& atom, const SamplingGrid& grid, Write write) {
    const double alpha = decay_from_bandwidth(static_cast<double>(atom.bandwidth));
    const double arrival = static_cast<double>(atom.arrival);
    const double frequency = static_cast<double>(atom.centre_frequency);
    const double chirp = static_cast<double>(atom.chirp_rate);
    const SampleRange range = support(atom, grid);
    for (std::size_t i = range.first; i < range.last; ++i) {
        const double time = grid.time(static_cast<double>(i));
        const double u = time - arrival;
        const double turns = (frequency + chirp * u / 2) * u - grid.mixing_frequency * time;
        write(i, std::exp(-alpha * u * u) * unit_phasor(turns));
    }
}

}  // namespace detail

/// Writes the atom onto the grid: out[i] = g(t_i) exp(-i 2 pi f_m t_i) with the grid's mixing
/// frequency f_m. Throws InvalidInput for an invalid atom or grid, and unless out.size() ==
/// grid.count.
template <Atom A>
void sample(const A& atom, const SamplingGrid& grid,
            std::span<std::complex<typename A::real_type>> out) {
    validate(atom);
    validate(grid);
    require(out.size() == grid.count, "size of the output", out.size(),
            "must equal the grid's count");
    std::ranges::fill(out, 0);
    detail::for_each_sample(atom, grid, [&](std::size_t i, std::complex<double> g) {
        out[i] = static_cast<std::complex<typename A::real_type>>(g);
    });
}

/// Adds scale * the echo to `out`: a g(t_i) exp(-i 2 pi f_m t_i) for complex samples, Re a g(t_i)
/// for real ones (whose grid has no mixing frequency). scale = -1 takes the echo out. Throws
/// InvalidInput for an invalid atom or grid, and unless out.size() == grid.count and, for real
/// samples, f_m == 0.
template <Atom A, Sample T>
requires std::same_as<RealOf<T>, typename A::real_type>
void add(const Echo<A>& echo, const SamplingGrid& grid, std::span<T> out, RealOf<T> scale = 1) {
    validate(echo.atom);
    validate(grid);
    require(out.size() == grid.count, "size of the output", out.size(),
            "must equal the grid's count");
    const std::complex<double> amplitude =
        static_cast<double>(scale) * static_cast<std::complex<double>>(echo.amplitude);
    if constexpr (is_complex<T>) {
        detail::for_each_sample(echo.atom, grid, [&](std::size_t i, std::complex<double> g) {
            out[i] += static_cast<T>(amplitude * g);
        });
    } else {
        require(grid.mixing_frequency == 0, "mixing_frequency", grid.mixing_frequency,
                "must be 0 for real samples [Hz]");
        detail::for_each_sample(echo.atom, grid, [&](std::size_t i, std::complex<double> g) {
            out[i] += static_cast<T>((amplitude * g).real());
        });
    }
}

}  // namespace echosieve
