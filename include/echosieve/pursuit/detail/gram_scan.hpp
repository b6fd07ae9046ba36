// Which columns of a dictionary a residual may resemble most: looked for in float, by the Gram
// matrix.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <type_traits>
#include <vector>

#include "echosieve/core/detail/lanes.hpp"
#include "echosieve/core/detail/scalar.hpp"

namespace echosieve::detail {

// Symbols
//   D  dictionary [m x columns], columns of unit norm;  G = D^H D;  y signal of norm 1
//   x_j  coefficients of the k columns i_j taken so far;  alpha = D^H (y - sum_j x_j d_ij)
//
// alpha = D^H y - sum_j x_j G_ij: k passes over the columns and none over their entries
// (Rubinstein, Zibulevsky and Elad 2008, technical report, Technion). In float, as it is here, each
// |alpha| is off by no more than
//
//   (m + k + 4) u' (1 + sum_j |x_j|),   u' = 2^-23, twice the unit roundoff; 4 u' with complex
//   numbers
//
// by the bounds of sums of products (Higham 2002, section 3.1). Columns whose |alpha| is within
// twice that of the largest are the only ones that can be the right choice: a handful, mostly one,
// and whoever asks computes these exactly. So half the memory is read, and twice as many numbers
// fit a register.

template <Sample T>
class GramScan {
public:
    using Narrow = std::conditional_t<is_complex<T>, std::complex<float>, float>;
    using Matrix = Eigen::Matrix<Narrow, Eigen::Dynamic, Eigen::Dynamic>;

    /// `atoms`: the most columns that are ever taken. `batch`: signals at a time.
    template <class Columns>
    GramScan(const Columns& columns, Eigen::Index atoms, Eigen::Index batch)
        : count_(columns.cols()), padded_((count_ + block - 1) / block * block) {
        columns_ = columns.template cast<Narrow>();
        gram_.setZero(padded_, count_);
        gram_.topRows(count_).noalias() = columns_.adjoint() * columns_;
        products_.setZero(padded_, batch);
        magnitude_.resize(padded_);
        largest_.resize(static_cast<std::size_t>(padded_ / block));
        taken_.reserve(static_cast<std::size_t>(atoms));
    }

    /// Computes D^H y of the signals, a column each and of norm 1.
    void project(const Eigen::Ref<const Matrix>& signals) {
        products_.topLeftCorner(count_, signals.cols()).noalias() = columns_.adjoint() * signals;
    }
    /// The next looks are at this signal of those projected, nothing taken out.
    void start(Eigen::Index signal) noexcept {
        signal_ = signal;
        taken_.clear();
    }
    void take(Eigen::Index column) { taken_.push_back({gram_.col(column).data(), Narrow{}}); }

    /// Calls visit(column) for every column that may have the largest |alpha|, in ascending order.
    /// `x`: the coefficients of the columns taken.
    template <class Coefficients, class Visit>
    void candidates(const Coefficients& x, Visit visit) {
        float sum = 1;
        for (std::size_t j = 0; j < taken_.size(); ++j) {
            taken_[j].x = static_cast<Narrow>(x[static_cast<Eigen::Index>(j)]);
            sum += std::abs(taken_[j].x);
        }
        const auto terms = static_cast<float>(columns_.rows()) + static_cast<float>(taken_.size());
        const float error =
            (is_complex<T> ? 4 : 1) * (terms + 4) * std::numeric_limits<float>::epsilon() * sum;
        const float least = look() - 2 * error;
        for (std::size_t b = 0; b < largest_.size(); ++b) {
            if (largest_[b] < least) {
                continue;
            }
            const Eigen::Index first = static_cast<Eigen::Index>(b) * block;
            for (Eigen::Index i = first; i < std::min(first + block, count_); ++i) {
                if (!(magnitude_[i] < least)) {  // all, where the bound has overflown
                    visit(i);
                }
            }
        }
    }

private:
    static constexpr Eigen::Index block = 64;  // columns that share one largest

    struct Taken {
        const Narrow* gram;  // its column of G
        Narrow x;
    };

    // Writes |alpha| and each block's largest; gives the largest of all.
    [[nodiscard]] float look() noexcept {
        float most = 0;
        const Narrow* const alpha = products_.col(signal_).data();
        for (std::size_t b = 0; b < largest_.size(); ++b) {
            largest_[b] = look_at(alpha, static_cast<Eigen::Index>(b) * block);
            most = std::max(most, largest_[b]);
        }
        return most;
    }
    [[nodiscard]] float look_at(const float* alpha, Eigen::Index first) noexcept {
        constexpr Eigen::Index width = Lanes<float>::size;
        constexpr Eigen::Index rows = std::min<Eigen::Index>(block / width, 4);
        Lanes<float> most;
        for (Eigen::Index n = first; n < first + block; n += rows * width) {
            Lanes<float> sum[rows];
            for (Eigen::Index r = 0; r < rows; ++r) {
                sum[r] = Lanes<float>::load(alpha + n + r * width);
            }
            for (const Taken& taken : taken_) {
                const Lanes<float> x(-taken.x);
                for (Eigen::Index r = 0; r < rows; ++r) {
                    sum[r] =
                        multiply_add(x, Lanes<float>::load(taken.gram + n + r * width), sum[r]);
                }
            }
            for (Eigen::Index r = 0; r < rows; ++r) {
                const Lanes<float> size = larger(sum[r], Lanes<float>() - sum[r]);
                size.store(magnitude_.data() + n + r * width);
                most = larger(most, size);
            }
        }
        return most.largest();
    }
    [[nodiscard]] float look_at(const std::complex<float>* alpha, Eigen::Index first) noexcept {
        using Block = Eigen::Array<std::complex<float>, block, 1>;
        Block sum = Eigen::Map<const Block>(alpha + first);
        for (const Taken& taken : taken_) {
            sum -= taken.x * Eigen::Map<const Block>(taken.gram + first);
        }
        auto size = magnitude_.segment(first, block);
        size = sum.abs2().sqrt();
        return size.maxCoeff();
    }

    Eigen::Index count_;
    Eigen::Index padded_;  // with columns of zeros: whole blocks
    Matrix columns_;
    Matrix gram_;      // [padded x columns]
    Matrix products_;  // D^H y [padded x batch]
    Eigen::ArrayXf magnitude_;
    std::vector<float> largest_;
    Eigen::Index signal_ = 0;
    std::vector<Taken> taken_;
};

}  // namespace echosieve::detail
