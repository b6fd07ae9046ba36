// Moments of the product of two atoms, in closed form: what every derivative of an inner product is
// made of.
#pragma once

#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>

#include "echosieve/atoms/detail/overlap.hpp"
#include "echosieve/atoms/gabor.hpp"

namespace echosieve {

// Symbols (p, q, P, d, D as in inner_product.hpp; index 1 the first atom, 2 the second)
//   u = t - tau_1,  v = t - tau_2
//   M_mn = integral u^m v^n g1(t) conj(g2(t)) dt                                  [s^(1 + m + n)]
//   u0 = (q d + i D / 2) / P,  v0 = (-p d + i D / 2) / P    complex means of u and v
//
//   M_{m+1,n} = u0 M_mn + (m M_{m-1,n} + n M_{m,n-1}) / (2 P)
//   M_{m,n+1} = v0 M_mn + (m M_{m-1,n} + n M_{m,n-1}) / (2 P),      M_00 = <g1, g2>
//
// The product is a Gaussian of complex mean and of variance 1 / (2 P); the recurrences are its
// partial integration (Isserlis 1918 for complex parameters). See docs/closed_forms.md.

/// Bound on |computed - exact| of M_mn, in units of epsilon of double max(1, |d (f1 + f2)| / 2)
/// ||u^m g1|| ||v^n g2||, the largest that M_mn can be (Cauchy and Schwarz). m, n <= 4.
inline constexpr double overlap_moment_error_epsilons = 200;

/// ||u^m g|| [s^(m + 1/2)]: square root of integral u^(2m) |g|^2 dt
/// = Gamma(m + 1/2) / (2 alpha)^(m + 1/2).
template <Atom A>
[[nodiscard]] double moment_norm(const A& atom, int m) {
    const double order = m + 0.5;
    const double decay = decay_from_bandwidth(static_cast<double>(atom.bandwidth));
    return std::sqrt(std::tgamma(order) / std::pow(2 * decay, order));
}

/// M_mn for m <= First, n <= Second.
template <std::size_t First, std::size_t Second>
using OverlapMoments = std::array<std::array<std::complex<double>, Second + 1>, First + 1>;

/// The moments of two atoms. 0 throughout for atoms so far apart that <g1, g2> underflows.
template <std::size_t First, std::size_t Second, Atom A1, Atom A2>
[[nodiscard]] OverlapMoments<First, Second> overlap_moments(const A1& g1, const A2& g2) noexcept {
    using Complex = std::complex<double>;
    OverlapMoments<First, Second> m{};
    m[0][0] = detail::overlap(g1, g2, 0).value;
    if (m[0][0] == Complex{0, 0}) {
        return m;  // the means may overflow where nothing is left
    }
    const double pi = std::numbers::pi;
    const auto [p, q, sum] = detail::pair_decays(g1, g2);
    const double d = double{g2.arrival} - double{g1.arrival};
    const Complex half{0, pi * (double{g1.centre_frequency} - double{g2.centre_frequency})};
    const Complex u0 = (q * d + half) / sum;
    const Complex v0 = (-p * d + half) / sum;
    const Complex variance = 0.5 / sum;
    const auto below = [&](std::size_t j, std::size_t k) {
        Complex total = 0;
        if (j > 0) {
            total += static_cast<double>(j) * m[j - 1][k];
        }
        if (k > 0) {
            total += static_cast<double>(k) * m[j][k - 1];
        }
        return variance * total;
    };
    for (std::size_t j = 0; j <= First; ++j) {
        if (j > 0) {
            m[j][0] = u0 * m[j - 1][0];
            m[j][0] += j > 1 ? static_cast<double>(j - 1) * variance * m[j - 2][0] : Complex{0, 0};
        }
        for (std::size_t k = 1; k <= Second; ++k) {
            m[j][k] = v0 * m[j][k - 1] + below(j, k - 1);
        }
    }
    return m;
}

}  // namespace echosieve
