// Complex cross-correlation of echoes, and of sums of echoes, in closed form at any lag.
#pragma once

#include <complex>
#include <span>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/detail/overlap.hpp"

namespace echosieve {

// Symbols (p, q, P, omega as in atoms/inner_product.hpp)
//   R12(lambda) = integral x1(t + lambda) conj(x2(t)) dt,   lambda the lag [s]
//   x = tau_2 - tau_1 + lambda;   m = (q omega_1 + p omega_2) / P
//
//   R12(lambda) = a1 conj(a2) sqrt(pi / P)
//                 exp(-p q x^2 / P - (omega_1 - omega_2)^2 / (4 P) + i x m)
//   dR12 / dlambda = R12 s,  d2R12 / dlambda2 = R12 (s^2 - 2 p q / P),  s = -2 p q x / P + i m
//
// If x2 is x1 delayed by d, |R12| is largest at lambda = -d.

/// R12 at a lag, with its derivatives in the lag.
struct CorrelationValue {
    std::complex<double> value;              ///< [s], times the echoes' amplitudes
    std::complex<double> derivative;         ///< the same per second
    std::complex<double> second_derivative;  ///< the same per second squared
};

/// R12 and its derivatives for two echoes. Error as of inner_product.
template <Atom A1, Atom A2>
[[nodiscard]] CorrelationValue cross_correlation(const Echo<A1>& x1, const Echo<A2>& x2,
                                                 double lag) noexcept {
    using Complex = std::complex<double>;
    const detail::Overlap atoms = detail::overlap(x1.atom, x2.atom, lag);
    const Complex value = static_cast<Complex>(x1.amplitude) *
                          std::conj(static_cast<Complex>(x2.amplitude)) * atoms.value;
    return {value, value * atoms.log_slope,
            value * (atoms.log_slope * atoms.log_slope + atoms.log_curvature)};
}

/// R12 and its derivatives for two sums of echoes: all pairs. Zero if either is empty.
template <Atom A1, Atom A2>
[[nodiscard]] CorrelationValue cross_correlation(std::span<const Echo<A1>> x1,
                                                 std::span<const Echo<A2>> x2,
                                                 double lag) noexcept {
    CorrelationValue total;
    for (const Echo<A1>& first : x1) {
        for (const Echo<A2>& second : x2) {
            const CorrelationValue pair = cross_correlation(first, second, lag);
            total.value += pair.value;
            total.derivative += pair.derivative;
            total.second_derivative += pair.second_derivative;
        }
    }
    return total;
}

/// integral |sum of echoes|^2 dt [s], times amplitudes squared.
template <Atom A>
[[nodiscard]] double energy(std::span<const Echo<A>> echoes) noexcept {
    return cross_correlation(echoes, echoes, 0).value.real();
}

}  // namespace echosieve
