// An atom on an even grid by a two-term recurrence: no exponential in the loop.
#pragma once

#include <cmath>
#include <complex>
#include <cstddef>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/grid.hpp"

namespace echosieve {

// Symbols
//   u = t - tau in units of the step h
//   g           the atom, shifted down by the grid's mixing frequency f_m
//   w           its ratio from one sample to the next, q the ratio of the ratios
//
//   g(u + 1) = g(u) w(u),   w(u + 1) = w(u) q
//   w(u) = exp(-alpha h^2 (2 u + 1) + i 2 pi ((f - f_m) h + gamma h^2 (u + 1/2)))
//   q    = exp(-2 alpha h^2 + i 2 pi gamma h^2)

/// Largest error of the recurrence over `samples` samples, relative to the atom's peak: two
/// roundings a step in w, whose errors add up along g.
[[nodiscard]] constexpr double recurrence_error(std::size_t samples) noexcept {
    return 1e-16 * static_cast<double>(samples) * static_cast<double>(samples);
}

/// Calls use(n, u, Re g, Im g) for the samples first .. last - 1 of the grid.
template <Atom A, class Use>
void for_each_by_recurrence(const A& atom, const SamplingGrid& grid, const SampleRange& range,
                            Use use) {
    if (range.first >= range.last) {
        return;
    }
    const double h = grid.step();
    const double alpha = decay_from_bandwidth(static_cast<double>(atom.bandwidth)) * h * h;
    const double chirp = static_cast<double>(atom.chirp_rate) * h * h;
    const double frequency = static_cast<double>(atom.centre_frequency);
    const double start_time = grid.time(static_cast<double>(range.first));
    const double first = start_time - static_cast<double>(atom.arrival);
    double u = first / h;
    const std::complex<double> start =
        std::exp(-alpha * u * u) *
        unit_phasor((frequency + static_cast<double>(atom.chirp_rate) * first / 2) * first -
                    grid.mixing_frequency * start_time);
    const std::complex<double> ratio =
        std::exp(-alpha * (2 * u + 1)) *
        unit_phasor((frequency - grid.mixing_frequency) * h + chirp * (u + 0.5));
    const std::complex<double> q = std::exp(-2 * alpha) * unit_phasor(chirp);
    double gr = start.real();
    double gi = start.imag();
    double wr = ratio.real();
    double wi = ratio.imag();
    for (std::size_t n = range.first; n < range.last; ++n, u += 1) {
        use(n, u, gr, gi);
        const double next = gr * wr - gi * wi;
        gi = gr * wi + gi * wr;
        gr = next;
        const double ratio_next = wr * q.real() - wi * q.imag();
        wi = wr * q.imag() + wi * q.real();
        wr = ratio_next;
    }
}

}  // namespace echosieve
