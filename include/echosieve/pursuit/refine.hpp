// How an atom from the grid is moved to the best place in its box: not at all, by Gauss-Newton, or
// by an optimiser.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <concepts>
#include <cstdint>
#include <numbers>
#include <span>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/pursuit/detail/atom_moments.hpp"

namespace echosieve {

/// A refinement takes the grid's best atom and gives an atom of the box that captures at least as
/// much energy.
template <class P>
concept Refinement =
    requires(const P& policy, const Gabor<double>& start, const GaborBox& box,
             const SamplingGrid& grid, const Eigen::VectorXcd& residual, std::uint64_t seed) {
        { refine(policy, start, box, grid, residual, seed) } -> std::same_as<Gabor<double>>;
    };

/// The grid's atom as it is.
struct NoRefinement {};

template <class Vector>
[[nodiscard]] Gabor<double> refine(const NoRefinement&, const Gabor<double>& start, const GaborBox&,
                                   const SamplingGrid&, const Vector&, std::uint64_t) {
    return start;
}

// Symbols (those of atom_moments.hpp, and)
//   theta = (tau, f, B)
//   dg/dtheta = d g:  d_tau = 2 alpha u - i 2 pi f,  d_f = i 2 pi u,  d_B = -(2 alpha / B) u^2
//   e_k = c_k - a M_k,  V_jk = M_{j+k} - M_j M_k / M_0
//
// Gauss-Newton with the amplitude projected out (variable projection, Golub and Pereyra 1973): the
// part of each d g along g drops out, -i 2 pi f with it, and f separates from tau and B, since one
// is imaginary where the others are real. A step counts only if it captures more energy; else it is
// damped (Levenberg 1944).

struct GaussNewton {
    int iterations = 12;      ///< steps at most, rejected ones included
    double tolerance = 1e-9;  ///< ends when a step gains less than this part of the captured energy
};

inline void validate(const GaussNewton& options) {
    require(options.iterations >= 0, "iterations", options.iterations, "must be zero or more");
    require(options.tolerance >= 0, "tolerance", options.tolerance, "must be zero or more");
}

template <class Vector>
[[nodiscard]] Gabor<double> refine(const GaussNewton& options, const Gabor<double>& start,
                                   const GaborBox& box, const SamplingGrid& grid,
                                   const Vector& residual, std::uint64_t) {
    Gabor<double> atom = start;
    AtomMoments at = atom_moments<true>(atom, grid, residual);
    double damping = 1e-3;
    const double h = grid.step();
    for (int k = 0; k < options.iterations; ++k) {
        const std::complex<double> a = at.amplitude();
        const auto& m = at.m;
        if (!(m[0] > 0) || !(std::norm(a) > 0)) {
            break;
        }
        const double alpha = decay(atom);
        // Gradient and matrix both divided by |a|^2: the determinant of a loud signal would
        // overflow.
        const std::complex<double> per_amplitude = std::conj(a) / std::norm(a);
        const std::complex<double> e1 = per_amplitude * at.left_over(1, a) * h;
        const std::complex<double> e2 = per_amplitude * at.left_over(2, a) * h * h;
        const double v11 = (m[2] - m[1] * m[1] / m[0]) * h * h;
        const double v12 = (m[3] - m[1] * m[2] / m[0]) * h * h * h;
        const double v22 = (m[4] - m[2] * m[2] / m[0]) * h * h * h * h;
        const double d_arrival = 2 * alpha;
        const double d_frequency = 2 * std::numbers::pi;
        const double d_bandwidth = -2 * alpha / atom.bandwidth;
        const double tt = d_arrival * d_arrival * v11 * (1 + damping);
        const double bb = d_bandwidth * d_bandwidth * v22 * (1 + damping);
        const double tb = d_arrival * d_bandwidth * v12;
        const double ff = d_frequency * d_frequency * v11 * (1 + damping);
        const double gt = d_arrival * e1.real();
        const double gb = d_bandwidth * e2.real();
        const double gf = d_frequency * e1.imag();
        const bool free_bandwidth = box.bandwidth.width() > 0;
        const double determinant = tt * bb - tb * tb;
        Gabor<double> trial = atom;
        if (free_bandwidth && determinant > 0) {
            trial.arrival += (bb * gt - tb * gb) / determinant;
            trial.bandwidth += (tt * gb - tb * gt) / determinant;
        } else if (tt > 0) {
            trial.arrival += gt / tt;
        }
        if (ff > 0) {
            trial.centre_frequency += gf / ff;
        }
        trial = box.clamped(trial);
        const AtomMoments next = atom_moments<true>(trial, grid, residual);
        const double gain = next.captured() - at.captured();
        if (gain > 0) {
            atom = trial;
            at = next;
            damping = std::max(damping * 0.1, 1e-6);
            if (gain < options.tolerance * at.captured()) {
                break;
            }
        } else {
            if (trial == atom || damping > 1e3) {
                break;
            }
            damping *= 10;
        }
    }
    return atom;
}

/// Any optimiser: it maximises the captured energy over the unit cube of the box, starting at the
/// grid's atom.
template <class O, class Vector>
requires Optimiser<O, double>
[[nodiscard]] Gabor<double> refine(const O& optimiser, const Gabor<double>& start,
                                   const GaborBox& box, const SamplingGrid& grid,
                                   const Vector& residual, std::uint64_t seed) {
    std::array<double, GaborBox::dimension> unit{};
    box.to_unit<double>(start, unit);
    const auto loss = [&](std::span<const double> x) {
        return -atom_moments<false>(box.atom(x), grid, residual).captured();
    };
    const auto found = minimise<double>(loss, box.unit_box<double>(), optimiser, seed, unit);
    return found.usable() ? box.atom(std::span<const double>(found.x)) : start;
}

}  // namespace echosieve
