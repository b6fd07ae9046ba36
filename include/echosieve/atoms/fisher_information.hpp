// What noisy samples tell of the parameters of several echoes at once: the Fisher information of
// their sum, in closed form.
#pragma once

#include <Eigen/Core>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/detail/atom_derivatives.hpp"
#include "echosieve/atoms/detail/overlap_moments.hpp"
#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

// Symbols (those of atom_derivatives.hpp and overlap_moments.hpp, and)
//   x = sum_k a_k g_k the analytic echoes, the samples Re x + n or x + n;  fs sampling rate [Hz]
//   sigma^2   variance of a sample's noise: E n^2 of real, E |n|^2 of complex samples
//   D_i       dx / dtheta_i: a L_j g for tau, f, B, gamma; a g for ln |a|; i a g for arg a
//
//   real samples:     F_ij = fs / (2 sigma^2) Re(<D_i, D_j> + <D_i, conj D_j>)
//   complex samples:  F_ij = 2 fs / sigma^2 Re <D_i, D_j>
// (Kay 1993, Fundamentals of Statistical Signal Processing I, eq. 3.31 and 15.52, sums over samples
// taken as integrals: exact but for aliasing where the grid holds the echoes whole.)

/// Which parameters of an echo are unknown; the others are known.
struct FreeParameters {
    bool arrival = true;
    bool centre_frequency = true;
    bool bandwidth = true;
    bool chirp_rate = false;
    bool amplitude = true;  ///< its size
    bool phase = true;

    static constexpr std::size_t most = 6;

    [[nodiscard]] constexpr std::array<bool, most> all() const noexcept {
        return {arrival, centre_frequency, bandwidth, chirp_rate, amplitude, phase};
    }
    [[nodiscard]] constexpr Eigen::Index count() const noexcept {
        Eigen::Index sum = 0;
        for (const bool free : all()) {
            sum += free ? 1 : 0;
        }
        return sum;
    }
};

/// Shape known, as of an isolated wall: arrival, amplitude and phase are unknown.
inline constexpr FreeParameters shape_known{.centre_frequency = false, .bandwidth = false};

/// White Gaussian noise on evenly sampled echoes.
struct SampledNoise {
    double deviation = 1;          ///< sigma, in the unit of the amplitudes
    double sampling_rate = 125e6;  ///< fs [Hz]
    bool complex_samples = false;  ///< analytic or baseband samples

    /// By what a real part of an inner product [s] becomes information: fs / (2 sigma^2) for real
    /// samples, 2 fs / sigma^2 for complex ones.
    [[nodiscard]] constexpr double per_energy() const noexcept {
        return (complex_samples ? 2 : 0.5) * (sampling_rate / (deviation * deviation));
    }
};

inline void validate(const SampledNoise& noise) {
    require(noise.deviation > 0 && is_finite(noise.deviation), "deviation", noise.deviation,
            "must be positive and finite");
    require(noise.sampling_rate > 0 && is_finite(noise.sampling_rate), "sampling_rate",
            noise.sampling_rate, "must be positive and finite [Hz]");
}

namespace detail {

// The derivatives D_i of one echo in its free parameters, as polynomials times its atom.
template <Atom A>
[[nodiscard]] std::vector<AtomPolynomial> free_derivatives(const Echo<A>& echo,
                                                           const FreeParameters& free) {
    using Complex = std::complex<double>;
    const auto a = static_cast<Complex>(echo.amplitude);
    const auto shape = first_derivatives(echo.atom);
    const auto which = free.all();
    std::vector<AtomPolynomial> out;
    for (std::size_t k = 0; k < FreeParameters::most; ++k) {
        if (!which[k]) {
            continue;
        }
        AtomPolynomial next;
        if (k < atom_parameter_count) {
            next = shape[k];
            for (Complex& c : next.c) {
                c *= a;
            }
        } else {
            next.c[0] = k == atom_parameter_count ? a : Complex{0, 1} * a;
        }
        out.push_back(next);
    }
    return out;
}

// Re <Q1 g1, Q2 g2>, polynomials of degree 2 at most.
[[nodiscard]] inline double real_product(const AtomPolynomial& q1, const AtomPolynomial& q2,
                                         const OverlapMoments<2, 2>& m) noexcept {
    double sum = 0;
    for (std::size_t j = 0; j < 3; ++j) {
        for (std::size_t k = 0; k < 3; ++k) {
            sum += (q1.c[j] * std::conj(q2.c[k]) * m[j][k]).real();
        }
    }
    return sum;
}

}  // namespace detail

/// F of the free parameters of every echo: echo k has the free.count() rows from k free.count() on,
/// in FreeParameters' order (amplitude as its logarithm). Symmetric, positive semidefinite. Throws
/// InvalidInput for invalid echoes or noise, or an amplitude that is not finite.
template <Atom A>
[[nodiscard]] Eigen::MatrixXd fisher_information(std::span<const Echo<A>> echoes,
                                                 const FreeParameters& free,
                                                 const SampledNoise& noise) {
    validate(noise);
    using Chirped = ChirpedGabor<double>;
    const Eigen::Index each = free.count();
    std::vector<std::vector<AtomPolynomial>> slopes;
    for (const Echo<A>& echo : echoes) {
        validate(echo.atom);
        require(is_finite(echo.amplitude.real()) && is_finite(echo.amplitude.imag()), "amplitude",
                echo.amplitude, "must be finite");
        slopes.push_back(detail::free_derivatives(echo, free));
    }
    const double per_energy = noise.per_energy();
    Eigen::MatrixXd out(each * static_cast<Eigen::Index>(echoes.size()),
                        each * static_cast<Eigen::Index>(echoes.size()));
    for (std::size_t e1 = 0; e1 < echoes.size(); ++e1) {
        for (std::size_t e2 = e1; e2 < echoes.size(); ++e2) {
            const A& g1 = echoes[e1].atom;
            const A& g2 = echoes[e2].atom;
            const auto direct = overlap_moments<2, 2>(g1, g2);
            // conj(Q g) = conj(Q) g of the negative frequency and chirp rate.
            const Chirped first{double{g1.arrival}, double{g1.centre_frequency},
                                double{g1.bandwidth}, double{g1.chirp_rate}};
            const Chirped mirror{double{g2.arrival}, -double{g2.centre_frequency},
                                 double{g2.bandwidth}, -double{g2.chirp_rate}};
            const auto mirrored = overlap_moments<2, 2>(first, mirror);
            for (Eigen::Index j = 0; j < each; ++j) {
                for (Eigen::Index k = 0; k < each; ++k) {
                    const AtomPolynomial& q1 = slopes[e1][static_cast<std::size_t>(j)];
                    AtomPolynomial q2 = slopes[e2][static_cast<std::size_t>(k)];
                    double sum = detail::real_product(q1, q2, direct);
                    if (!noise.complex_samples) {
                        for (std::complex<double>& c : q2.c) {
                            c = std::conj(c);
                        }
                        sum += detail::real_product(q1, q2, mirrored);
                    }
                    const double entry = per_energy * sum;
                    const Eigen::Index row = each * static_cast<Eigen::Index>(e1) + j;
                    const Eigen::Index column = each * static_cast<Eigen::Index>(e2) + k;
                    out(row, column) = entry;
                    out(column, row) = entry;
                }
            }
        }
    }
    return out;
}

}  // namespace echosieve
