// Sums over frames of values whose phase turns with a share, tabulated over the share.
#pragma once

#include <Eigen/Core>
#include <array>
#include <complex>
#include <cstddef>

namespace echosieve {

// T(k, j) = sum_i x(i, j) r(i, j)^k, |r| = 1: how well the frames agree with a layer k steps
// faster.

/// Largest phase [rad] of r for which the error between rows stays below 1e-4 of the sum of |x|:
/// that of Lagrange's polynomial through n points, |h^n (1/2 3/2 5/2)^2 / n!| for n = 6 and a step
/// h.
inline constexpr double largest_turn = 0.5;

/// What a place between rows is made of: rows first to first + 5, by 6-point Lagrange
/// interpolation.
struct RowWeights {
    Eigen::Index first = 0;
    std::array<double, 6> weight{};
};

/// The table T. Numbers of all bins lie side by side, real and imaginary parts apart.
class TurnedSums {
public:
    /// Bins are filled up with zeros to whole registers.
    static constexpr Eigen::Index register_size = 8;

    TurnedSums() = default;
    /// Of `values` x and `turn` r [frames x bins], rows k = 0 to count - 1. Throws InvalidInput if
    /// their sizes differ.
    TurnedSums(const Eigen::ArrayXXcd& values, const Eigen::ArrayXXcd& turn, Eigen::Index count);

    [[nodiscard]] Eigen::Index rows() const noexcept { return table_.cols(); }
    [[nodiscard]] Eigen::Index bins() const noexcept { return bins_; }
    /// Bins and filling.
    [[nodiscard]] Eigen::Index stride() const noexcept { return table_.rows() / 2; }
    [[nodiscard]] std::complex<double> operator()(Eigen::Index row, Eigen::Index bin) const {
        return {table_(bin, row), table_(bin + stride(), row)};
    }
    /// A row: stride() real parts, then the imaginary ones.
    [[nodiscard]] const double* row(Eigen::Index k) const {
        return table_.data() + k * table_.rows();
    }

    /// The place of row `at`, a whole number or not; beyond the table the polynomial goes on. The
    /// table must have 6 rows at least.
    [[nodiscard]] RowWeights between(double at) const;

private:
    Eigen::Index bins_ = 0;
    Eigen::ArrayXXd table_;  // [2 stride x count]
};

}  // namespace echosieve
