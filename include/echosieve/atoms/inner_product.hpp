// Closed-form inner products of atoms, echoes and sums of echoes, with gradient and Hessian in
// all parameters.
#pragma once

#include <Eigen/Core>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>

#include "echosieve/atoms/detail/echo_polynomials.hpp"
#include "echosieve/atoms/detail/overlap.hpp"
#include "echosieve/atoms/detail/overlap_moments.hpp"
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

// Symbols (those of atom_derivatives.hpp and overlap_moments.hpp, and)
//   x = a g an echo; its parameters (tau, f, B, gamma, Re a, Im a), in this order
//   dx / dtheta = a L_j g,  dx / d Re a = g,  dx / d Im a = i g
//
//   d<x1, x2> / dtheta_j of x1 = a1 conj(a2) sum_k (L_j)_k M_k0, and so on: with the polynomials
//   Q1, Q2 of the two derivatives, <Q1 g1, Q2 g2> = sum_jk (Q1)_j conj((Q2)_k) M_jk.
// <x1, x2> is conjugate-linear in x2, so that derivatives in x2's parameters are those of conj(x2).

/// Bound on the error of an entry, in units of epsilon of double max(1, |d (f1 + f2)| / 2) times
/// the sum over the entry's monomials of |coefficient| ||u^m g1|| ||v^n g2||.
inline constexpr double derivative_error_epsilons = overlap_moment_error_epsilons + 40;

/// <x1, x2> with its gradient and Hessian in the parameters of the echoes of x1, then of x2:
/// entry 6 k + j is parameter j of echo k.
struct InnerProductDerivatives {
    std::complex<double> value{};
    Eigen::VectorXcd gradient;
    Eigen::MatrixXcd hessian;
};

/// Of two sums of echoes. Zero and of no size if both are empty.
template <Atom A1, Atom A2>
[[nodiscard]] InnerProductDerivatives inner_product_derivatives(std::span<const Echo<A1>> x1,
                                                                std::span<const Echo<A2>> x2) {
    const auto count = static_cast<Eigen::Index>(echo_parameter_count);
    const auto first = count * static_cast<Eigen::Index>(x1.size());
    const auto all = first + count * static_cast<Eigen::Index>(x2.size());
    InnerProductDerivatives out;
    out.gradient.setZero(all);
    out.hessian.setZero(all, all);
    for (std::size_t e1 = 0; e1 < x1.size(); ++e1) {
        const detail::EchoPolynomials q1 = detail::echo_polynomials(x1[e1]);
        const Eigen::Index at1 = count * static_cast<Eigen::Index>(e1);
        for (std::size_t e2 = 0; e2 < x2.size(); ++e2) {
            const detail::EchoPolynomials q2 = detail::echo_polynomials(x2[e2]);
            const Eigen::Index at2 = first + count * static_cast<Eigen::Index>(e2);
            const auto m = overlap_moments<4, 4>(x1[e1].atom, x2[e2].atom);
            out.value += detail::inner_product(q1.value, q2.value, m);
            for (std::size_t j = 0; j < echo_parameter_count; ++j) {
                const auto row = static_cast<Eigen::Index>(j);
                out.gradient[at1 + row] += detail::inner_product(q1.first[j], q2.value, m);
                out.gradient[at2 + row] += detail::inner_product(q1.value, q2.first[j], m);
                for (std::size_t k = 0; k < echo_parameter_count; ++k) {
                    const auto column = static_cast<Eigen::Index>(k);
                    out.hessian(at1 + row, at1 + column) +=
                        detail::inner_product(q1.second[j][k], q2.value, m);
                    out.hessian(at2 + row, at2 + column) +=
                        detail::inner_product(q1.value, q2.second[j][k], m);
                    const auto mixed = detail::inner_product(q1.first[j], q2.first[k], m);
                    out.hessian(at1 + row, at2 + column) += mixed;
                    out.hessian(at2 + column, at1 + row) += mixed;
                }
            }
        }
    }
    return out;
}

/// Of two echoes: 12 parameters.
template <Atom A1, Atom A2>
[[nodiscard]] InnerProductDerivatives inner_product_derivatives(const Echo<A1>& x1,
                                                                const Echo<A2>& x2) {
    return inner_product_derivatives(std::span<const Echo<A1>>(&x1, 1),
                                     std::span<const Echo<A2>>(&x2, 1));
}

}  // namespace echosieve
