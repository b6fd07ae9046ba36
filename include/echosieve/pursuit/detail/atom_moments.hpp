// The sums of atom_steps.hpp over the samples of any grid, of complex and of real signals.
#pragma once

#include <Eigen/Core>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>

#include "echosieve/atoms/detail/recurrence.hpp"
#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/pursuit/detail/atom_steps.hpp"

namespace echosieve {

// Symbols (those of atom_steps.hpp, and)
//   g    the sampled atom, shifted down by the grid's mixing frequency
//   Z_k = sum u^k g^2,        k = 0, 1, 2
//
// Real r:  the atom is the plane of Re g and Im g;
//          A = 2 (M_0 c_0 - conj(Z_0) conj(c_0)) / (M_0^2 - |Z_0|^2), energy Re(A conj(c_0)).
// g comes from its recurrence (atoms/detail/recurrence.hpp), so the inner loop has no exponential.

/// The numbers above. Times are in units of the sampling step to keep the powers of u of ordinary
/// size.
struct AtomMoments : detail::ComplexMoments {
    std::array<std::complex<double>, 3> z{};  ///< of a real signal only
    bool real_signal = false;

    /// Below this part of the plane's area its two columns are one.
    static constexpr double least_area = 1e-12;

    /// Best complex amplitude; 0 if the atom has no samples.
    [[nodiscard]] std::complex<double> amplitude() const noexcept {
        if (!real_signal || !(m[0] > 0)) {
            return ComplexMoments::amplitude();
        }
        const double determinant = m[0] * m[0] - std::norm(z[0]);
        return determinant > least_area * m[0] * m[0]
                   ? 2.0 * (m[0] * c[0] - std::conj(z[0] * c[0])) / determinant
                   : std::complex<double>{0, 0};
    }
    /// e_k, where `turn` is conj(A) / |A|^2; of a real signal doubled, since its echo holds half
    /// of the analytic one.
    [[nodiscard]] std::complex<double> left_over(std::size_t k,
                                                 const std::complex<double>& turn) const noexcept {
        return real_signal ? 2.0 * c[k] * turn - m[k] - std::conj(z[k]) * (turn / std::conj(turn))
                           : ComplexMoments::left_over(k, turn);
    }
    /// Energy that the atom takes out of the signal: sum |r|^2 - sum |r - A g|^2 (real part of A g
    /// for real r).
    [[nodiscard]] double captured() const noexcept {
        return (amplitude() * std::conj(c[0])).real();
    }
};

/// Computes the moments over the atom's support. With Full == false only c_0, M_0 and Z_0.
template <bool Full, class Derived>
[[nodiscard]] AtomMoments atom_moments(const Gabor<double>& atom, const SamplingGrid& grid,
                                       const Eigen::MatrixBase<Derived>& signal) {
    using T = typename Derived::Scalar;
    AtomMoments out;
    out.real_signal = !is_complex<T>;
    const SampleRange range = support(atom, grid);
    if (range.first >= range.last) {
        return out;
    }
    double c0r = 0, c0i = 0, c1r = 0, c1i = 0, c2r = 0, c2i = 0;
    std::array<double, 5> m{};
    std::array<std::complex<double>, 3> z{};
    for_each_by_recurrence(atom, grid, range, [&](std::size_t n, double u, double gr, double gi) {
        double pr = 0;
        double pi = 0;  // conj(g) r
        const T r = signal[static_cast<Eigen::Index>(n)];
        if constexpr (is_complex<T>) {
            const double rr = static_cast<double>(r.real());
            const double ri = static_cast<double>(r.imag());
            pr = gr * rr + gi * ri;
            pi = gr * ri - gi * rr;
        } else {
            pr = gr * static_cast<double>(r);
            pi = -gi * static_cast<double>(r);
            const std::complex<double> square{gr * gr - gi * gi, 2 * gr * gi};
            z[0] += square;
            if constexpr (Full) {
                z[1] += u * square;
                z[2] += u * u * square;
            }
        }
        const double e = gr * gr + gi * gi;
        c0r += pr;
        c0i += pi;
        m[0] += e;
        if constexpr (Full) {
            const double u2 = u * u;
            c1r += u * pr;
            c1i += u * pi;
            c2r += u2 * pr;
            c2i += u2 * pi;
            m[1] += u * e;
            m[2] += u2 * e;
            m[3] += u2 * u * e;
            m[4] += u2 * u2 * e;
        }
    });
    out.c = {std::complex<double>{c0r, c0i}, {c1r, c1i}, {c2r, c2i}};
    out.m = m;
    out.z = z;
    return out;
}

}  // namespace echosieve
