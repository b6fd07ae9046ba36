// Closed-form inner products, energies and norms of atoms and echoes.
#pragma once

#include <cmath>
#include <complex>
#include <numbers>

#include "echosieve/atoms/gabor.hpp"

namespace echosieve {

// Symbols (see gabor.hpp for the atoms' parameters; index 1 the first atom, 2 the second)
//   p = alpha_1 - i pi gamma_1,  q = alpha_2 + i pi gamma_2,  P = p + q
//   d = tau_2 - tau_1 [s],  omega = 2 pi f,  D = omega_1 - omega_2 [rad/s]
//
//   <g1, g2> = integral g1(t) conj(g2(t)) dt
//            = sqrt(pi / P) exp(-p q d^2 / P - D^2 / (4 P) + i d (q omega_1 + p omega_2) / P)   [s]
//
// A complex Gaussian integral: complete the square in t. Re P > 0, so the principal root is the
// right one.

/// Bound on |computed - exact| / sqrt(energy(g1) energy(g2)) before the rounding to the atoms'
/// type, in units of epsilon of double max(1, |d (f1 + f2)| / 2): the turns of the phase between
/// the two. For float atoms the rounding adds half an epsilon of float.
inline constexpr double inner_product_error_epsilons = 24;

namespace detail {

/// <g1(t + lag), g2(t)> in double, and both derivatives of its logarithm in the lag.
struct Overlap {
    std::complex<double> value;
    std::complex<double> log_slope;
    std::complex<double> log_curvature;
};

template <Atom A1, Atom A2>
[[nodiscard]] Overlap overlap(const A1& g1, const A2& g2, double lag) noexcept {
    using Complex = std::complex<double>;
    const double pi = std::numbers::pi;
    const Complex p{decay_from_bandwidth(double{g1.bandwidth}), -pi * double{g1.chirp_rate}};
    const Complex q{decay_from_bandwidth(double{g2.bandwidth}), pi * double{g2.chirp_rate}};
    const Complex sum = p + q;
    const double d = double{g2.arrival} - double{g1.arrival} + lag;
    const double f1 = double{g1.centre_frequency};
    const double f2 = double{g2.centre_frequency};
    const double difference = 2 * pi * (f1 - f2);
    const Complex mean = 2 * pi * (q * f1 + p * f2) / sum;
    const Complex curvature = p * (q / sum);
    const Complex exponent =
        -curvature * (d * d) - difference * difference / (4.0 * sum) + Complex{0, d} * mean;
    return {std::sqrt(pi / sum) * std::exp(exponent), -2.0 * d * curvature + Complex{0, 1} * mean,
            -2.0 * curvature};
}

}  // namespace detail

/// <g1, g2> [s], linear in the first atom, conjugate-linear in the second.
/// Underflows to 0 for atoms far apart in time or frequency; never overflows for valid atoms.
template <Atom A1, Atom A2>
requires std::same_as<typename A1::real_type, typename A2::real_type>
[[nodiscard]] std::complex<typename A1::real_type> inner_product(const A1& g1,
                                                                 const A2& g2) noexcept {
    return static_cast<std::complex<typename A1::real_type>>(detail::overlap(g1, g2, 0).value);
}

/// <x1, x2> [s] of two analytic echoes.
template <Atom A1, Atom A2>
[[nodiscard]] std::complex<typename A1::real_type> inner_product(const Echo<A1>& x1,
                                                                 const Echo<A2>& x2) noexcept {
    return x1.amplitude * std::conj(x2.amplitude) * inner_product(x1.atom, x2.atom);
}

/// integral |g(t)|^2 dt = sqrt(pi / (2 alpha)) [s]. Exact to 8 ulp.
template <Atom A>
[[nodiscard]] typename A::real_type energy(const A& atom) noexcept {
    return static_cast<typename A::real_type>(
        std::sqrt(std::numbers::pi / (2 * decay_from_bandwidth(double{atom.bandwidth}))));
}

/// Square root of energy(atom) [s^1/2]: atom / norm(atom) has unit energy.
template <Atom A>
[[nodiscard]] typename A::real_type norm(const A& atom) noexcept {
    return std::sqrt(energy(atom));
}

/// integral |a g(t)|^2 dt [s] of the analytic echo.
template <Atom A>
[[nodiscard]] typename A::real_type energy(const Echo<A>& echo) noexcept {
    return std::norm(echo.amplitude) * energy(echo.atom);
}

/// integral (Re x1)(Re x2) dt [s] of two real echoes: Re(<x1, x2> + <x1, conj x2>) / 2.
template <Atom A>
[[nodiscard]] typename A::real_type real_inner_product(const Echo<A>& x1,
                                                       const Echo<A>& x2) noexcept {
    using R = typename A::real_type;
    const ChirpedGabor<R> g1{x1.atom.arrival, x1.atom.centre_frequency, x1.atom.bandwidth,
                             x1.atom.chirp_rate};
    const ChirpedGabor<R> mirrored{x2.atom.arrival, -x2.atom.centre_frequency, x2.atom.bandwidth,
                                   -x2.atom.chirp_rate};
    const Echo<ChirpedGabor<R>> first{g1, x1.amplitude};
    const Echo<ChirpedGabor<R>> conjugate{mirrored, std::conj(x2.amplitude)};
    return (inner_product(x1, x2) + inner_product(first, conjugate)).real() / 2;
}

/// integral (Re a g(t))^2 dt [s] of the real echo.
template <Atom A>
[[nodiscard]] typename A::real_type real_energy(const Echo<A>& echo) noexcept {
    return real_inner_product(echo, echo);
}

}  // namespace echosieve
