#include "motion/layers/smooth_step.hpp"

#include <Eigen/SparseCholesky>
#include <Eigen/SparseCore>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

namespace echosieve {

double roughness_penalty(double mean_curvature, double cutoff, double frame_rate) {
    return mean_curvature / std::pow(2 * std::numbers::pi * cutoff / frame_rate, 4);
}

Eigen::ArrayXXd smooth_steps(const Eigen::ArrayXXd& curvature, const Eigen::ArrayXXd& gradient,
                             const Eigen::ArrayXd& penalty) {
    using Sparse = Eigen::SparseMatrix<double>;
    const Eigen::Index frames = gradient.rows();
    const Eigen::Index size = gradient.cols();
    std::vector<Eigen::Triplet<double>> entries;
    entries.reserve(static_cast<std::size_t>(frames * size * (size + 8)));
    Eigen::VectorXd right(frames * size);
    for (Eigen::Index i = 0; i < frames; ++i) {
        for (Eigen::Index m = 0; m < size; ++m) {
            right[i * size + m] = gradient(i, m);
            for (Eigen::Index n = 0; n <= m; ++n) {
                entries.emplace_back(i * size + m, i * size + n, curvature(i, m * size + n));
            }
        }
    }
    constexpr double difference[3] = {1, -2, 1};
    for (Eigen::Index i = 0; i + 2 < frames; ++i) {
        for (Eigen::Index m = 0; m < size; ++m) {
            for (Eigen::Index r = 0; r < 3; ++r) {
                for (Eigen::Index s = 0; s <= r; ++s) {
                    entries.emplace_back((i + r) * size + m, (i + s) * size + m,
                                         penalty[m] * difference[r] * difference[s]);
                }
            }
        }
    }
    Sparse matrix(frames * size, frames * size);
    matrix.setFromTriplets(entries.begin(), entries.end());
    const Eigen::SimplicialLDLT<Sparse, Eigen::Lower, Eigen::NaturalOrdering<int>> solver(matrix);
    const Eigen::VectorXd x = solver.solve(right);
    return Eigen::Map<const Eigen::MatrixXd>(x.data(), size, frames).transpose().array();
}

}  // namespace echosieve
