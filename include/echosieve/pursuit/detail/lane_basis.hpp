// The atoms chosen so far, made orthonormal: what the next one adds, and the joint amplitudes.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <vector>

#include "echosieve/core/detail/lanes.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/pursuit/detail/lane_array.hpp"

namespace echosieve::detail {

// Symbols
//   g_k atom number k, sampled;   q_k orthonormal;   g_k = sum_{j <= k} T_jk q_j
//   p_k = q_k^H r  when q_k was made;   b amplitudes of all atoms together:  T b = p
//
// The numbers of engine.hpp with one complex column an atom, in lanes. The Gram-Schmidt is the
// classical one, whose products don't wait for each other, done twice where it has to be (Giraud
// and others 2005: twice is enough).

template <Real R>
class LaneBasis {
public:
    using L = Lanes<R>;
    using Complex = std::complex<R>;

    /// Below this part of its own norm, what an atom adds to those before it is rounding.
    static constexpr R dependence = 1e4 * std::numeric_limits<R>::epsilon();

    /// Above this part nothing was lost by cancellation, and once is enough.
    static constexpr R little_lost = static_cast<R>(0.7);

    /// For samples in whole lanes.
    LaneBasis(std::size_t stored, std::size_t atoms)
        : atoms_(atoms),
          columns_(atoms, LaneArray<R>(stored)),
          triangle_(atoms * atoms),
          projections_(atoms),
          products_(atoms),
          coefficients_(atoms) {}

    void clear() noexcept { size_ = 0; }

    /// Takes the next atom's samples: makes them orthogonal to the atoms taken, and of unit norm.
    /// False if only rounding is left of them.
    [[nodiscard]] bool orthonormalise(const LaneArray<R>& atom) noexcept {
        LaneArray<R>& column = columns_[size_];
        const R before = std::sqrt(energy(atom));
        std::fill_n(&entry(0, size_), size_, Complex{0, 0});
        R after = reduce(atom, column);
        if (!(after > little_lost * before)) {
            after = reduce(column, column);
        }
        if (!(after > dependence * before)) {
            return false;
        }
        entry(size_, size_) = after;
        scale(1 / after, column);
        return true;
    }
    /// q^H r of that atom.
    [[nodiscard]] Complex project(const LaneArray<R>& residual) const noexcept {
        return dot(columns_[size_], residual);
    }
    /// Keeps the atom with its projection, and takes it out of the residual, whose energy is left.
    [[nodiscard]] R take(const Complex& projection, LaneArray<R>& residual) noexcept {
        subtract(projection, columns_[size_], residual);
        projections_[size_++] = projection;
        return energy(residual);
    }

    /// Solves for the amplitudes of all atoms taken.
    void solve() noexcept {
        for (std::size_t k = size_; k-- > 0;) {
            std::complex<double> sum = projections_[k];
            for (std::size_t j = k + 1; j < size_; ++j) {
                sum -= std::complex<double>(entry(k, j)) * coefficients_[j];
            }
            coefficients_[k] = sum / static_cast<double>(entry(k, k).real());
        }
    }
    [[nodiscard]] const std::complex<double>& coefficient(std::size_t k) const noexcept {
        return coefficients_[k];
    }

private:
    [[nodiscard]] Complex& entry(std::size_t row, std::size_t column) noexcept {
        return triangle_[column * atoms_ + row];
    }
    // Takes the parts along the atoms before out of `from`; the norm of what is left.
    [[nodiscard]] R reduce(const LaneArray<R>& from, LaneArray<R>& to) noexcept {
        for (std::size_t j = 0; j < size_; ++j) {
            products_[j] = dot(columns_[j], from);
            entry(j, size_) += products_[j];
        }
        L sum;
        const std::size_t size = from.size();
        for (std::size_t n = 0; n < size; n += L::size) {
            L real = L::load(from.real() + n);
            L imag = L::load(from.imag() + n);
            for (std::size_t j = 0; j < size_; ++j) {
                const L xr = L::load(columns_[j].real() + n);
                const L xi = L::load(columns_[j].imag() + n);
                const L minus_real(-products_[j].real());
                const L product_imag(products_[j].imag());
                real = multiply_add(minus_real, xr, multiply_add(product_imag, xi, real));
                imag = multiply_add(minus_real, xi, imag - product_imag * xr);
            }
            real.store(to.real() + n);
            imag.store(to.imag() + n);
            sum = multiply_add(real, real, multiply_add(imag, imag, sum));
        }
        return std::sqrt(sum.sum());
    }

    std::size_t atoms_;
    std::size_t size_ = 0;
    std::vector<LaneArray<R>> columns_;
    std::vector<Complex> triangle_;
    std::vector<Complex> projections_;
    std::vector<Complex> products_;
    std::vector<std::complex<double>> coefficients_;
};

}  // namespace echosieve::detail
