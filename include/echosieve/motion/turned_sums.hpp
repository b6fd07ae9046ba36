// Sums over frames of values whose phase turns with a share, tabulated over the share.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>

namespace echosieve {

// T(k, j) = sum_i x(i, j) r(i, j)^k, |r| = 1: how well the frames agree with a layer k steps
// faster.

/// T [count x bins] of `values` x and `turn` r [frames x bins], k = 0 to count - 1.
[[nodiscard]] Eigen::ArrayXXcd turned_sums(const Eigen::ArrayXXcd& values,
                                           const Eigen::ArrayXXcd& turn, Eigen::Index count);

/// Largest phase [rad] of r for which RowBetween's error stays below 1e-4 of the sum of |x|: that
/// of Lagrange's polynomial through n points, |h^n (1/2 3/2 5/2)^2 / n!| for n = 6 and a step h.
inline constexpr double largest_turn = 0.5;

/// A row of a table of at least 6 rows between two of them, by 6-point Lagrange interpolation.
class RowBetween {
public:
    /// `at` is a row's number, with a fraction.
    RowBetween(const Eigen::ArrayXXcd& table, double at) : table_(&table) {
        first_ = std::clamp<Eigen::Index>(static_cast<Eigen::Index>(std::floor(at)) - 2, 0,
                                          table.rows() - points);
        const double x = at - static_cast<double>(first_);
        // prod_{m != k} (x - m) / (k - m)
        constexpr std::array<double, points> scale = {-1.0 / 120, 1.0 / 24,  -1.0 / 12,
                                                      1.0 / 12,   -1.0 / 24, 1.0 / 120};
        for (Eigen::Index k = 0; k < points; ++k) {
            double product = scale[static_cast<std::size_t>(k)];
            for (Eigen::Index m = 0; m < points; ++m) {
                product *= m == k ? 1 : x - static_cast<double>(m);
            }
            weight_[static_cast<std::size_t>(k)] = product;
        }
    }

    [[nodiscard]] std::complex<double> operator()(Eigen::Index bin) const {
        const std::complex<double>* row = &(*table_)(first_, bin);
        std::complex<double> sum = 0;
        for (std::size_t k = 0; k < points; ++k) {
            sum += weight_[k] * row[k];
        }
        return sum;
    }

private:
    static constexpr Eigen::Index points = 6;
    const Eigen::ArrayXXcd* table_;
    Eigen::Index first_ = 0;
    std::array<double, points> weight_{};
};

}  // namespace echosieve
