// The eigenvalues of small symmetric matrices, against another solver.
#include "echosieve/optimise/detail/symmetric_eigen.hpp"

#include <Eigen/Core>
#include <Eigen/Eigenvalues>
#include <Eigen/LU>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

MatrixXd random_matrix(std::size_t n, RandomStream& stream) {
    const auto size = static_cast<Eigen::Index>(n);
    return MatrixXd::NullaryExpr(size, size, [&] { return stream.normal(); });
}

// n x n, row by row.
Eigen::Map<const Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>> as_matrix(
    std::span<const double> values, std::size_t n) {
    const auto size = static_cast<Eigen::Index>(n);
    return {values.data(), size, size};
}

}  // namespace

TEST_CASE("eigenvalues and eigenvectors are those of another solver") {
    RandomStream stream(4);
    for (const std::size_t n : {1U, 2U, 3U, 6U, 18U}) {
        CAPTURE(n);
        MatrixXd matrix = random_matrix(n, stream);
        matrix = (matrix * matrix.transpose()).eval();
        std::vector<double> a(matrix.data(), matrix.data() + n * n);
        std::vector<double> v(n * n);
        REQUIRE(detail::symmetric_eigen(a, v, n));
        const MatrixXd vectors = as_matrix(v, n);
        VectorXd values = as_matrix(a, n).diagonal();
        const double rounding = 1e-14 * static_cast<double>(n) * matrix.norm();
        CHECK((vectors * values.asDiagonal() * vectors.transpose() - matrix).norm() <= rounding);
        CHECK((vectors.transpose() * vectors - MatrixXd::Identity(vectors.rows(), vectors.cols()))
                  .norm() <= 1e-14 * static_cast<double>(n));
        std::sort(values.data(), values.data() + n);
        const Eigen::SelfAdjointEigenSolver<MatrixXd> other(matrix);
        CHECK((values - other.eigenvalues()).norm() <= rounding);
    }
    std::vector<double> spoilt = {1, std::nan(""), std::nan(""), 1};
    std::vector<double> v(4);
    CHECK(!detail::symmetric_eigen(spoilt, v, 2));
}

TEST_CASE("small eigenvalues of a scaled matrix keep their digits") {
    // D A D with D of 1 to 1e-6: the smallest eigenvalue, 12 decades below the largest, against the
    // largest of the inverse, which is D^-1 A^-1 D^-1.
    RandomStream stream(8);
    constexpr std::size_t n = 4;
    MatrixXd a = random_matrix(n, stream);
    a = (a * a.transpose() + MatrixXd::Identity(4, 4)).eval();
    const Eigen::Vector4d d(1, 1e-2, 1e-4, 1e-6);
    const MatrixXd scaled = d.asDiagonal() * a * d.asDiagonal();
    const MatrixXd inverse =
        d.cwiseInverse().asDiagonal() * a.inverse() * d.cwiseInverse().asDiagonal();
    const double least = 1 / Eigen::SelfAdjointEigenSolver<MatrixXd>(inverse).eigenvalues()(3);
    std::vector<double> values(scaled.data(), scaled.data() + n * n);
    std::vector<double> v(n * n);
    REQUIRE(detail::symmetric_eigen(values, v, n));
    double found = values[0];
    for (std::size_t k = 1; k < n; ++k) {
        found = std::min(found, values[k * n + k]);
    }
    CHECK_WITHIN_RELATIVE(found, least, 1e-12);
}
