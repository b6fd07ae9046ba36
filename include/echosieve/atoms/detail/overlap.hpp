// The inner product of two atoms, one of them shifted, with its slope in the shift.
#pragma once

#include <cmath>
#include <complex>
#include <numbers>

#include "echosieve/atoms/gabor.hpp"

namespace echosieve::detail {

// Symbols: those of inner_product.hpp, d the difference of the arrivals and the lag together.

// p, q and P of inner_product.hpp.
struct PairDecays {
    std::complex<double> p;
    std::complex<double> q;
    std::complex<double> sum;
};

template <Atom A1, Atom A2>
[[nodiscard]] PairDecays pair_decays(const A1& g1, const A2& g2) noexcept {
    using Complex = std::complex<double>;
    const double pi = std::numbers::pi;
    const Complex p{decay_from_bandwidth(double{g1.bandwidth}), -pi * double{g1.chirp_rate}};
    const Complex q{decay_from_bandwidth(double{g2.bandwidth}), pi * double{g2.chirp_rate}};
    return {p, q, p + q};
}

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
    // As pair_decays, but here: in a struct, chirp rates that are 0 by type do not drop out, which
    // costs a sixth.
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

}  // namespace echosieve::detail
