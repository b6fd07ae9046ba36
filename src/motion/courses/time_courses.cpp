#include "motion/courses/time_courses.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/Eigenvalues>
#include <cmath>
#include <optional>

#include "motion/line/slow_time.hpp"

namespace echosieve {

Eigen::ArrayXd normalised_pulse(const Eigen::ArrayXd& p, double frame_rate) {
    const Eigen::ArrayXd smooth = gaussian_smooth<double>(p, 0.008 * frame_rate);
    const Eigen::Index n = smooth.size();
    const Eigen::ArrayXd slope = smooth.tail(n - 1) - smooth.head(n - 1);
    const double sign = slope.cube().sum() < 0 ? -1 : 1;
    const double range = quantile(p, 0.97) - quantile(p, 0.03);
    return range > 0 ? Eigen::ArrayXd(sign * (p - p.mean()) / range) : Eigen::ArrayXd(p - p.mean());
}

std::optional<SplitCourses> split_courses(const Eigen::ArrayXd& first, const Eigen::ArrayXd& second,
                                          double slow_frequency, double frame_rate) {
    Eigen::MatrixXd plane(first.size(), 2);
    plane << (first - first.mean()).matrix(), (second - second.mean()).matrix();
    const Eigen::Vector2d norm = plane.colwise().norm();
    if (!(norm.minCoeff() > 0)) {
        return std::nullopt;
    }
    const Eigen::MatrixXd unit = plane * norm.cwiseInverse().asDiagonal();
    Eigen::MatrixXd fast(unit.rows(), 2);
    for (Eigen::Index k = 0; k < 2; ++k) {
        fast.col(k) = without_slow_part(unit.col(k).array(), slow_frequency, frame_rate).matrix();
    }
    const Eigen::Matrix2d whole = unit.transpose() * unit;
    if (!(whole.determinant() > 1e-12)) {
        return std::nullopt;  // one time course at most: nothing moves, or all of it alike
    }
    const Eigen::GeneralizedSelfAdjointEigenSolver<Eigen::Matrix2d> solver(
        Eigen::Matrix2d(fast.transpose() * fast), whole);
    SplitCourses split;
    const Eigen::ArrayXd q = (unit * solver.eigenvectors().col(0)).array();
    split.bulk = q - q.mean();
    split.pulse = normalised_pulse((unit * solver.eigenvectors().col(1)).array(), frame_rate);
    Eigen::MatrixXd present(plane.rows(), 2);
    present << split.pulse.matrix(), split.bulk.matrix();
    split.mixture = (Eigen::Matrix2d(present.transpose() * present)
                         .ldlt()
                         .solve(Eigen::Matrix2d(present.transpose() * plane)))
                        .transpose();
    return split;
}

std::optional<Gauge> gauge_of(const Eigen::ArrayXd& a, const Eigen::ArrayXd& b) {
    const double scale = median(b);
    if (!(std::abs(scale) > 0)) {
        return std::nullopt;
    }
    // Depths that hardly follow q would say little, and that loudly.
    constexpr double least_bulk_share = 0.3;
    return Gauge{scale, median(a / (b / scale).max(least_bulk_share))};
}

}  // namespace echosieve
