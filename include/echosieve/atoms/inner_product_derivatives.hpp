// Gradient and Hessian of inner products of echoes, and of sums of echoes, in all parameters.
#pragma once

#include <Eigen/Core>
#include <array>
#include <complex>
#include <cstddef>
#include <span>

#include "echosieve/atoms/detail/atom_derivatives.hpp"
#include "echosieve/atoms/detail/overlap_moments.hpp"
#include "echosieve/atoms/gabor.hpp"

namespace echosieve {

// Symbols (those of atom_derivatives.hpp and overlap_moments.hpp, and)
//   x = a g an echo; its parameters (tau, f, B, gamma, Re a, Im a), in this order
//   dx / dtheta = a L_j g,  dx / d Re a = g,  dx / d Im a = i g
//
//   d<x1, x2> / dtheta_j of x1 = a1 conj(a2) sum_k (L_j)_k M_k0, and so on: with the polynomials
//   Q1, Q2 of the two derivatives, <Q1 g1, Q2 g2> = sum_jk (Q1)_j conj((Q2)_k) M_jk.
// <x1, x2> is conjugate-linear in x2, so that derivatives in x2's parameters are those of conj(x2).

inline constexpr std::size_t echo_parameter_count = atom_parameter_count + 2;

/// Bound on the error of an entry, in units of epsilon of double max(1, |d (f1 + f2)| / 2) times
/// the sum over the entry's monomials of |coefficient| ||u^m g1|| ||v^n g2||.
inline constexpr double derivative_error_epsilons = overlap_moment_error_epsilons + 40;

namespace detail {

/// <Q1 g1, Q2 g2>.
[[nodiscard]] inline std::complex<double> inner_product(const AtomPolynomial& q1,
                                                        const AtomPolynomial& q2,
                                                        const OverlapMoments<4, 4>& m) noexcept {
    std::complex<double> sum = 0;
    for (std::size_t j = 0; j < q1.c.size(); ++j) {
        for (std::size_t k = 0; k < q2.c.size(); ++k) {
            sum += q1.c[j] * std::conj(q2.c[k]) * m[j][k];
        }
    }
    return sum;
}

[[nodiscard]] inline AtomPolynomial scaled(AtomPolynomial x, std::complex<double> by) noexcept {
    for (std::complex<double>& c : x.c) {
        c *= by;
    }
    return x;
}

[[nodiscard]] inline AtomPolynomial constant(std::complex<double> value) noexcept {
    AtomPolynomial out;
    out.c[0] = value;
    return out;
}

/// An echo's value and its derivatives as polynomials times the atom.
struct EchoPolynomials {
    AtomPolynomial value;
    std::array<AtomPolynomial, echo_parameter_count> first;
    std::array<std::array<AtomPolynomial, echo_parameter_count>, echo_parameter_count> second;
};

template <Atom A>
[[nodiscard]] EchoPolynomials echo_polynomials(const Echo<A>& echo) noexcept {
    using Complex = std::complex<double>;
    const auto a = static_cast<Complex>(echo.amplitude);
    const auto l = first_derivatives(echo.atom);
    const auto ll = second_derivatives(echo.atom);
    EchoPolynomials out;
    out.value = constant(a);
    out.first[atom_parameter_count] = constant(1);
    out.first[atom_parameter_count + 1] = constant(Complex{0, 1});
    for (std::size_t j = 0; j < atom_parameter_count; ++j) {
        out.first[j] = scaled(l[j], a);
        for (std::size_t k = 0; k < atom_parameter_count; ++k) {
            out.second[j][k] = scaled(ll[j][k], a);
        }
        out.second[j][atom_parameter_count] = out.second[atom_parameter_count][j] = l[j];
        out.second[j][atom_parameter_count + 1] = out.second[atom_parameter_count + 1][j] =
            scaled(l[j], Complex{0, 1});
    }
    return out;
}

}  // namespace detail

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
