// An echo and its derivatives in its parameters, as polynomials times its atom.
#pragma once

#include <array>
#include <complex>
#include <cstddef>

#include "echosieve/atoms/detail/atom_derivatives.hpp"
#include "echosieve/atoms/detail/overlap_moments.hpp"
#include "echosieve/atoms/gabor.hpp"

namespace echosieve {

/// Those of the atom, then real and imaginary part of the amplitude.
inline constexpr std::size_t echo_parameter_count = atom_parameter_count + 2;

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

}  // namespace echosieve
