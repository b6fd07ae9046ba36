// Eigenvalues and eigenvectors of a small symmetric matrix, without memory of its own.
#pragma once

#include <cmath>
#include <cstddef>
#include <limits>
#include <span>

namespace echosieve::detail {

// Symbols
//   a         symmetric n x n matrix, row by row;  v  its eigenvectors, one a column
//   t, c, s   tangent, cosine and sine of the angle of a rotation in the plane of p and q

// Cyclic Jacobi rotations (Golub and Van Loan, Matrix Computations, section 8.5; from memory). In
// place of Eigen's solver, which is several times as fast: this one allocates nothing, gives the
// same bits whatever registers it is compiled for, and keeps relative accuracy in small eigenvalues
// of positive definite matrices (Demmel and Veselic 1992). Leaves the eigenvalues on the diagonal
// of a, and in no order. False if the matrix is not finite.
inline bool symmetric_eigen(std::span<double> a, std::span<double> v, std::size_t n) noexcept {
    for (std::size_t i = 0; i < n * n; ++i) {
        v[i] = i % (n + 1) == 0 ? 1 : 0;
    }
    constexpr double unit = std::numeric_limits<double>::epsilon();
    constexpr int most_sweeps = 60;  // six or seven suffice
    for (int sweep = 0; sweep < most_sweeps; ++sweep) {
        bool turned = false;
        for (std::size_t p = 0; p + 1 < n; ++p) {
            for (std::size_t q = p + 1; q < n; ++q) {
                const double pq = a[p * n + q];
                const double pp = a[p * n + p];
                const double qq = a[q * n + q];
                if (std::abs(pq) <= unit * std::sqrt(std::abs(pp)) * std::sqrt(std::abs(qq))) {
                    continue;
                }
                turned = true;
                const double theta = (qq - pp) / (2 * pq);
                const double t = std::copysign(1 / (std::abs(theta) + std::hypot(theta, 1)), theta);
                const double c = 1 / std::sqrt(1 + t * t);
                const double s = t * c;
                for (std::size_t k = 0; k < n; ++k) {
                    const double kp = a[k * n + p];
                    const double kq = a[k * n + q];
                    a[k * n + p] = a[p * n + k] = c * kp - s * kq;
                    a[k * n + q] = a[q * n + k] = s * kp + c * kq;
                    const double vp = v[k * n + p];
                    const double vq = v[k * n + q];
                    v[k * n + p] = c * vp - s * vq;
                    v[k * n + q] = s * vp + c * vq;
                }
                a[p * n + p] = pp - t * pq;
                a[q * n + q] = qq + t * pq;
                a[p * n + q] = a[q * n + p] = 0;
            }
        }
        if (!turned) {
            break;
        }
    }
    for (std::size_t i = 0; i < n * n; ++i) {
        if (!(std::abs(a[i]) <= std::numeric_limits<double>::max())) {
            return false;
        }
    }
    return true;
}

}  // namespace echosieve::detail
