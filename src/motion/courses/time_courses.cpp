#include "motion/courses/time_courses.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/Eigenvalues>
#include <cmath>
#include <optional>

#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

constexpr double slope_smoothing = 8e-3;  // Gaussian, before the steepest change is looked for [s]
constexpr double beyond_range = 0.03;  // part of the frames at either end that the range leaves out
// Of two courses of unit size: below, they are one but for rounding.
constexpr double least_determinant = 1e-12;
// Depths that hardly follow q would say little, and that loudly.
constexpr double least_telling_share = 0.3;

}  // namespace

Eigen::ArrayXd normalised_pulse(const Eigen::ArrayXd& p, double frame_rate) {
    const Eigen::ArrayXd smooth = gaussian_smooth<double>(p, slope_smoothing * frame_rate);
    const Eigen::Index n = smooth.size();
    const Eigen::ArrayXd slope = smooth.tail(n - 1) - smooth.head(n - 1);
    const double sign = slope.cube().sum() < 0 ? -1 : 1;
    const double range = quantile(p, 1 - beyond_range) - quantile(p, beyond_range);
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
    if (!(whole.determinant() > least_determinant)) {
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
    return Gauge{scale, median(a / (b / scale).max(least_telling_share))};
}

}  // namespace echosieve
