// Complex cross-correlation of echoes, and of sums of echoes, in closed form at any lag.
#pragma once

#include <cmath>
#include <complex>
#include <numbers>
#include <span>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/inner_product.hpp"

namespace echosieve {

// Symbols (p, q, P, omega as in atoms/inner_product.hpp)
//   R12(lambda) = integral x1(t + lambda) conj(x2(t)) dt,   lambda the lag [s]
//   x = tau_2 - tau_1 + lambda;   m = (q omega_1 + p omega_2) / P
//
//   R12(lambda) = a1 conj(a2) sqrt(pi / P) exp(-p q x^2 / P - (omega_1 - omega_2)^2 / (4 P) + i x
//   m) dR12 / dlambda = R12 (-2 p q x / P + i m)
//
// If x2 is x1 delayed by d, |R12| is largest at lambda = -d.

/// R12 at a lag, with its derivative in the lag.
struct CorrelationValue {
    std::complex<double> value;       ///< [s], times the echoes' amplitudes
    std::complex<double> derivative;  ///< the same per second
};

/// R12 and its derivative for two echoes. Error as of inner_product.
template <Atom A1, Atom A2>
[[nodiscard]] CorrelationValue cross_correlation(const Echo<A1>& x1, const Echo<A2>& x2,
                                                 double lag) noexcept {
    using Complex = std::complex<double>;
    const double pi = std::numbers::pi;
    const auto number = [](auto x) { return static_cast<double>(x); };
    const Complex p{decay_from_bandwidth(number(x1.atom.bandwidth)),
                    -pi * number(x1.atom.chirp_rate)};
    const Complex q{decay_from_bandwidth(number(x2.atom.bandwidth)),
                    pi * number(x2.atom.chirp_rate)};
    const Complex sum = p + q;
    const double x = number(x2.atom.arrival) - number(x1.atom.arrival) + lag;
    const double f1 = number(x1.atom.centre_frequency);
    const double f2 = number(x2.atom.centre_frequency);
    const double difference = 2 * pi * (f1 - f2);
    const Complex mean = 2 * pi * (q * f1 + p * f2) / sum;
    const Complex curvature = p * (q / sum);
    const Complex exponent =
        -curvature * (x * x) - difference * difference / (4.0 * sum) + Complex{0, x} * mean;
    const Complex amplitude =
        static_cast<Complex>(x1.amplitude) * std::conj(static_cast<Complex>(x2.amplitude));
    const Complex value = amplitude * std::sqrt(pi / sum) * std::exp(exponent);
    return {value, value * (-2.0 * x * curvature + Complex{0, 1} * mean)};
}

/// R12 and its derivative for two sums of echoes: all pairs. Zero if either is empty.
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
