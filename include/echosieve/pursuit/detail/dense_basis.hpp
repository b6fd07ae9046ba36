// The columns chosen so far, made orthonormal, and the residual that they leave of a signal.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <optional>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/pursuit/detail/gram_schmidt.hpp"

namespace echosieve::detail {

// Symbols: those of gram_schmidt.hpp; r the residual.

template <Sample T>
class DenseBasis {
public:
    using R = echosieve::RealOf<T>;
    using Vector = Eigen::Matrix<T, Eigen::Dynamic, 1>;
    using Matrix = Eigen::Matrix<T, Eigen::Dynamic, Eigen::Dynamic>;

    /// Room for so many columns; what there was is lost. Allocates if there is less, or another
    /// number of samples.
    void make_room(Eigen::Index samples, Eigen::Index columns) {
        if (basis_.rows() != samples || basis_.cols() < columns) {
            basis_.resize(samples, columns);
            residual_.resize(samples);
            triangle_.setZero(columns, columns);
            projections_.resize(columns);
        }
        forget();
    }
    /// From this signal on.
    template <class Signal>
    void start(const Signal& signal) {
        residual_ = signal;
        forget();
    }
    /// Columns that come need not be orthogonal to those that were; the residual stays.
    void forget() noexcept { size_ = 0; }

    [[nodiscard]] const Vector& residual() const noexcept { return residual_; }
    [[nodiscard]] Eigen::Index size() const noexcept { return size_; }

    /// Makes an atom's `width` columns, which `write(block)` writes, orthogonal to all before, and
    /// gives the energy that they would capture; nothing if there is no room, or nothing but
    /// rounding left of one.
    template <class Write>
    [[nodiscard]] std::optional<R> admit(Eigen::Index width, Write write) {
        if (size_ + width > basis_.cols()) {
            return std::nullopt;
        }
        admitted_ = size_ + width;
        write(basis_.middleCols(size_, width));
        R captured = 0;
        for (Eigen::Index k = size_; k < admitted_; ++k) {
            if (!orthonormalise(k)) {
                return std::nullopt;
            }
            projections_[k] = basis_.col(k).dot(residual_);
            captured += Eigen::numext::abs2(projections_[k]);
        }
        return captured;
    }
    /// Takes the atom admitted last out of the residual, whose energy is left.
    R take() {
        for (; size_ < admitted_; ++size_) {
            residual_.noalias() -= projections_[size_] * basis_.col(size_);
        }
        return residual_.squaredNorm();
    }
    /// Writes the coefficients of the columns themselves.
    void solve(T* out) const {
        const auto entry = [&](std::size_t j, std::size_t k) {
            return triangle_(static_cast<Eigen::Index>(j), static_cast<Eigen::Index>(k));
        };
        back_substitute(static_cast<std::size_t>(size_), entry, projections_.data(), out);
    }

private:
    // The columns before are taken out one after the other, each of what the others left.
    [[nodiscard]] bool orthonormalise(Eigen::Index k) {
        triangle_.col(k).setZero();
        const R rest = orthogonal_rest<R>([&](int) {
            Reduced<R> out;
            for (Eigen::Index j = 0; j < k; ++j) {
                const T product = basis_.col(j).dot(basis_.col(k));
                out.taken += Eigen::numext::abs2(product);
                triangle_(j, k) += product;
                basis_.col(k) -= product * basis_.col(j);
            }
            out.left = basis_.col(k).squaredNorm();
            return out;
        });
        if (!(rest > 0)) {
            return false;
        }
        triangle_(k, k) = rest;
        basis_.col(k) /= rest;
        return true;
    }

    Matrix basis_;     // q, [samples x columns]
    Matrix triangle_;  // T
    Vector residual_;
    Vector projections_;
    Eigen::Index size_ = 0;
    Eigen::Index admitted_ = 0;
};

}  // namespace echosieve::detail
