// Derivatives of an atom in its parameters: polynomials in the time from its arrival, times the
// atom.
#pragma once

#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>

#include "echosieve/atoms/gabor.hpp"

namespace echosieve {

// Symbols (the atoms' as in gabor.hpp)
//   theta = (tau, f, B, gamma), in this order;   L = ln g = -alpha u^2 + i 2 pi f u + i pi gamma
//   u^2 alpha' = d alpha / dB = 2 alpha / B,  alpha'' = 2 alpha / B^2
//
//   dg / dtheta_j           = L_j g
//   d2g / dtheta_j dtheta_k = (L_j L_k + L_jk) g
//   L_tau = 2 alpha u - i 2 pi (f + gamma u),  L_f = i 2 pi u,  L_B = -alpha' u^2,
//   L_gamma = i pi u^2
//   L_tau,tau = -2 alpha + i 2 pi gamma,  L_tau,f = -i 2 pi,  L_tau,B = 2 alpha' u,
//   L_tau,gamma = -i 2 pi u,  L_BB = -alpha'' u^2,  all others 0

/// tau, f, B, gamma: the order of every gradient.
inline constexpr std::size_t atom_parameter_count = 4;

/// c[0] + c[1] u + ... + c[4] u^4.
struct AtomPolynomial {
    std::array<std::complex<double>, 5> c{};

    [[nodiscard]] std::complex<double> operator()(double u) const noexcept {
        std::complex<double> sum = 0;
        for (std::size_t k = c.size(); k-- > 0;) {
            sum = sum * u + c[k];
        }
        return sum;
    }
    friend AtomPolynomial operator+(const AtomPolynomial& x, const AtomPolynomial& y) noexcept {
        AtomPolynomial out;
        for (std::size_t k = 0; k < out.c.size(); ++k) {
            out.c[k] = x.c[k] + y.c[k];
        }
        return out;
    }
    /// For degrees that add to 4 at most.
    friend AtomPolynomial operator*(const AtomPolynomial& x, const AtomPolynomial& y) noexcept {
        AtomPolynomial out;
        for (std::size_t j = 0; j < out.c.size(); ++j) {
            for (std::size_t k = 0; j + k < out.c.size(); ++k) {
                out.c[j + k] += x.c[j] * y.c[k];
            }
        }
        return out;
    }
};

/// L_j for the four parameters.
template <Atom A>
[[nodiscard]] std::array<AtomPolynomial, atom_parameter_count> first_derivatives(
    const A& atom) noexcept {
    using Complex = std::complex<double>;
    const double pi = std::numbers::pi;
    const auto bandwidth = static_cast<double>(atom.bandwidth);
    const double alpha = decay_from_bandwidth(bandwidth);
    const auto frequency = static_cast<double>(atom.centre_frequency);
    const auto chirp = static_cast<double>(atom.chirp_rate);
    std::array<AtomPolynomial, atom_parameter_count> out;
    out[0].c[0] = Complex{0, -2 * pi * frequency};
    out[0].c[1] = Complex{2 * alpha, -2 * pi * chirp};
    out[1].c[1] = Complex{0, 2 * pi};
    out[2].c[2] = -2 * alpha / bandwidth;
    out[3].c[2] = Complex{0, pi};
    return out;
}

/// L_j L_k + L_jk for two parameters.
template <Atom A>
[[nodiscard]] std::array<std::array<AtomPolynomial, atom_parameter_count>, atom_parameter_count>
second_derivatives(const A& atom) noexcept {
    using Complex = std::complex<double>;
    const double pi = std::numbers::pi;
    const auto bandwidth = static_cast<double>(atom.bandwidth);
    const double alpha = decay_from_bandwidth(bandwidth);
    const auto chirp = static_cast<double>(atom.chirp_rate);
    const auto first = first_derivatives(atom);
    std::array<std::array<AtomPolynomial, atom_parameter_count>, atom_parameter_count> out;
    for (std::size_t j = 0; j < atom_parameter_count; ++j) {
        for (std::size_t k = 0; k < atom_parameter_count; ++k) {
            out[j][k] = first[j] * first[k];
        }
    }
    const auto add = [&](std::size_t j, std::size_t k, std::size_t power, Complex value) {
        out[j][k].c[power] += value;
        if (j != k) {
            out[k][j].c[power] += value;
        }
    };
    add(0, 0, 0, {-2 * alpha, 2 * pi * chirp});
    add(0, 1, 0, {0, -2 * pi});
    add(0, 2, 1, 4 * alpha / bandwidth);
    add(0, 3, 1, {0, -2 * pi});
    add(2, 2, 2, -2 * alpha / (bandwidth * bandwidth));
    return out;
}

}  // namespace echosieve
