// The atoms chosen so far, made orthonormal: what the next one adds, and the joint amplitudes.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <optional>
#include <vector>

#include "echosieve/core/detail/lanes.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/pursuit/detail/gram_schmidt.hpp"
#include "echosieve/pursuit/detail/lane_array.hpp"

namespace echosieve::detail {

// Symbols: those of gram_schmidt.hpp; a column x_k is atom number k, sampled; r the residual.
//
// DenseBasis with one complex column an atom, in lanes. The Gram-Schmidt is the classical one,
// whose products don't wait for each other.

template <Real R>
class LaneBasis {
public:
    using L = Lanes<R>;
    using Complex = std::complex<R>;

    /// For samples in whole lanes.
    LaneBasis(std::size_t stored, std::size_t atoms)
        : atoms_(atoms),
          residual_(stored),
          columns_(atoms, LaneArray<R>(stored)),
          triangle_(atoms * atoms),
          projections_(atoms),
          products_(atoms),
          coefficients_(atoms) {}

    /// From this signal on.
    void start(const LaneArray<R>& signal) noexcept {
        residual_ = signal;
        forget();
    }
    /// Atoms that come need not be orthogonal to those that were; the residual stays.
    void forget() noexcept { size_ = 0; }

    [[nodiscard]] LaneArray<R>& residual() noexcept { return residual_; }

    /// Makes an atom's samples orthogonal to the atoms taken, and gives the energy that it would
    /// capture; nothing if only rounding is left of them.
    [[nodiscard]] std::optional<R> admit(const LaneArray<R>& atom) noexcept {
        LaneArray<R>& column = columns_[size_];
        std::fill_n(&entry(0, size_), size_, Complex{0, 0});
        const R rest =
            orthogonal_rest<R>([&](int pass) { return reduce(pass == 0 ? atom : column, column); });
        if (!(rest > 0)) {
            return std::nullopt;
        }
        entry(size_, size_) = rest;
        scale(1 / rest, column);
        projections_[size_] = dot(column, residual_);
        return std::norm(projections_[size_]);
    }
    /// Takes the atom admitted last out of the residual, whose energy is left.
    R take() noexcept {
        subtract(projections_[size_], columns_[size_], residual_);
        ++size_;
        return energy(residual_);
    }

    /// Solves for the amplitudes of all atoms taken.
    void solve() noexcept {
        back_substitute(
            size_, [&](std::size_t j, std::size_t k) { return entry(j, k); }, projections_.data(),
            coefficients_.data());
    }
    [[nodiscard]] const std::complex<double>& coefficient(std::size_t k) const noexcept {
        return coefficients_[k];
    }

private:
    [[nodiscard]] Complex& entry(std::size_t row, std::size_t column) noexcept {
        return triangle_[column * atoms_ + row];
    }
    // Takes the parts along the atoms before out of `from`.
    [[nodiscard]] Reduced<R> reduce(const LaneArray<R>& from, LaneArray<R>& to) noexcept {
        Reduced<R> out;
        for (std::size_t j = 0; j < size_; ++j) {
            products_[j] = dot(columns_[j], from);
            out.taken += std::norm(products_[j]);
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
        out.left = sum.sum();
        return out;
    }

    std::size_t atoms_;
    std::size_t size_ = 0;
    LaneArray<R> residual_;
    std::vector<LaneArray<R>> columns_;
    std::vector<Complex> triangle_;
    std::vector<Complex> projections_;
    std::vector<Complex> products_;
    std::vector<std::complex<double>> coefficients_;
};

}  // namespace echosieve::detail
