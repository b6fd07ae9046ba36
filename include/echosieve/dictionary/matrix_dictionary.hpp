// A dictionary that is a plain matrix: the user's own atoms in its columns.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <utility>

#include "echosieve/core/detail/bisect.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

/// One atom of a matrix dictionary in a decomposition.
template <Sample T>
struct MatrixTerm {
    std::size_t index = 0;  ///< column
    T coefficient{};

    friend bool operator==(const MatrixTerm&, const MatrixTerm&) = default;
};

/// Columns of unit norm. Proposes the column with the largest |<d, residual>|; the first of equals.
template <Sample T>
class MatrixDictionary {
public:
    using sample_type = T;
    using real_type = RealOf<T>;
    using Matrix = Eigen::Matrix<T, Eigen::Dynamic, Eigen::Dynamic>;
    using choice_type = std::size_t;
    using element_type = MatrixTerm<T>;
    static constexpr Eigen::Index columns_per_atom = 1;

    /// How far a column's norm may be from 1, in units of the square root of the number of rows.
    static constexpr real_type norm_tolerance = 64 * std::numeric_limits<real_type>::epsilon();

    /// Throws InvalidInput if the matrix is empty or a column's norm is not 1 (scale the columns
    /// first: an atom of another norm would be chosen for its size).
    explicit MatrixDictionary(Matrix columns)
        : columns_(std::move(columns)), products_(columns_.cols()) {
        require(columns_.rows() > 0, "rows of the dictionary", columns_.rows(),
                "must be at least 1");
        require(columns_.cols() > 0, "columns of the dictionary", columns_.cols(),
                "must be at least 1");
        for (Eigen::Index k = 0; k < columns_.cols(); ++k) {
            const real_type norm = columns_.col(k).norm();
            require(std::abs(norm - 1) <=
                        norm_tolerance * std::sqrt(static_cast<real_type>(columns_.rows())),
                    detail::concatenate("norm of column ", k), norm, "must be 1");
        }
    }

    [[nodiscard]] Eigen::Index samples() const noexcept { return columns_.rows(); }
    [[nodiscard]] const Matrix& columns() const noexcept { return columns_; }

    template <class Vector>
    [[nodiscard]] std::optional<choice_type> propose(const Vector& residual, std::size_t) {
        products_.noalias() = columns_.adjoint() * residual;
        Eigen::Index best = 0;
        products_.cwiseAbs2().maxCoeff(&best);
        return static_cast<choice_type>(best);
    }
    template <class Block>
    void write(const choice_type& choice, Block&& out) const {
        out.col(0) = columns_.col(static_cast<Eigen::Index>(choice));
    }
    [[nodiscard]] element_type element(const choice_type& choice,
                                       std::span<const T> coefficients) const {
        return {choice, coefficients[0]};
    }
    /// T = energy / sigma^2, sigma^2 the variance of one real component, exceeds this in one of the
    /// M columns with the given probability, if the columns were independent (dependent ones: less
    /// often). Complex noise: T ~ chi^2 with 2 degrees of freedom, -2 ln(1 - (1 - P)^(1/M)). Real
    /// noise: 1 degree, solves erfc(sqrt(T / 2)) = 1 - (1 - P)^(1/M). Throws InvalidInput unless
    /// 0 < P < 1.
    [[nodiscard]] double false_alarm_threshold(double probability) const {
        require(probability > 0 && probability < 1, "probability", probability,
                "must lie in (0, 1)");
        const double one =
            -std::expm1(std::log1p(-probability) / static_cast<double>(columns_.cols()));
        const double upper = -2 * std::log(one);
        if constexpr (is_complex<T>) {
            return upper;
        }
        // erfc(sqrt(T / 2)) < exp(-T / 2): the answer lies below.
        return detail::bisect({0, upper}, 100,
                              [&](double t) { return std::erfc(std::sqrt(t / 2)) > one; })
            .low;
    }

private:
    Matrix columns_;
    Eigen::Matrix<T, Eigen::Dynamic, 1> products_;
};

}  // namespace echosieve
