#include "echosieve/motion/common_motion.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/phase_track.hpp"
#include "echosieve/motion/slow_time.hpp"
#include "echosieve/motion/time_courses.hpp"

namespace echosieve {

namespace {

/// The two rows-of-frames that span the tracks best, weighted per gate: [frames x 2], orthonormal.
Eigen::MatrixXd leading_plane(const Eigen::ArrayXXd& tracks, const Eigen::ArrayXd& weight) {
    const Eigen::MatrixXd weighted = tracks.rowwise() * weight.transpose();
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(weighted.transpose() * weighted);
    Eigen::MatrixXd plane = weighted * solver.eigenvectors().rightCols(2);
    for (Eigen::Index k = 0; k < 2; ++k) {
        const double norm = plane.col(k).norm();
        if (norm > 0) {
            plane.col(k) /= norm;
        }
    }
    return plane;
}

/// Least-squares shares of p and q in each track: [2 x gates].
Eigen::MatrixXd shares(const Eigen::ArrayXXd& tracks, const Eigen::ArrayXd& p,
                       const Eigen::ArrayXd& q) {
    Eigen::MatrixXd basis(p.size(), 2);
    basis << (p - p.mean()).matrix(), (q - q.mean()).matrix();
    const Eigen::Matrix2d gram = basis.transpose() * basis;
    return gram.ldlt().solve(basis.transpose() * tracks.matrix());
}

}  // namespace

void fit_bulk_line(CommonMotion& motion) {
    Eigen::ArrayXd weight = motion.weight;
    const Eigen::ArrayXd z = motion.depths;
    const Eigen::ArrayXd b = motion.bulk_share;
    for (int pass = 0; pass < 8; ++pass) {
        const double total = weight.sum();
        const double mean_z = (weight * z).sum() / total;
        const double mean_b = (weight * b).sum() / total;
        const double spread = (weight * (z - mean_z).square()).sum();
        motion.bulk_slope = spread > 0 ? (weight * (z - mean_z) * (b - mean_b)).sum() / spread : 0;
        motion.bulk_intercept = mean_b - motion.bulk_slope * mean_z;
        const Eigen::ArrayXd misfit = b - motion.bulk_intercept - motion.bulk_slope * z;
        const double scale = median(misfit.abs()) + 0.01;
        weight = 1 / (1 + (misfit / scale / 2).square());
    }
}

CommonMotion estimate_common_motion(const LineHistory& line, const CommonMotionOptions& options) {
    validate(options);
    const PhaseTracks tracks = phase_tracks(line, options.tracks);
    CommonMotion motion;
    if (tracks.depths.size() < 3 || line.frames() < 8 ||
        !(tracks.coherence.maxCoeff() > options.lowest_coherence)) {
        return motion;
    }
    const Eigen::ArrayXXd& u = tracks.displacement;
    const double frames = static_cast<double>(line.frames());
    const auto rms = [&](const Eigen::ArrayXXd& x) {
        return Eigen::ArrayXd((x.square().colwise().sum() / frames).sqrt().transpose());
    };
    // Coherent tracks count most, then those that the plane explains to a few micrometres.
    const Eigen::ArrayXd trust = (tracks.coherence - options.lowest_coherence).max(0);
    Eigen::ArrayXd weight = trust.square() / (rms(u) + 20e-6);
    Eigen::MatrixXd plane;
    for (int pass = 0; pass < options.reweightings; ++pass) {
        plane = leading_plane(u, weight);
        const Eigen::ArrayXXd rest = u.matrix() - plane * (plane.transpose() * u.matrix());
        weight = trust.max(0.01).square() / (rms(rest) + 5e-6);
    }
    const auto split = split_courses(plane.col(0).array(), plane.col(1).array(),
                                     options.slow_frequency, line.settings.frame_rate);
    if (!split) {
        return motion;
    }
    const Eigen::MatrixXd ab = shares(u, split->pulse, split->bulk);
    const Eigen::ArrayXd a = ab.row(0).transpose().array();
    const Eigen::ArrayXd b = ab.row(1).transpose().array();
    const auto gauge = gauge_of(a, b);
    if (!gauge) {
        return motion;
    }
    motion.pulse = split->pulse;
    motion.bulk = gauge->scale * split->bulk + gauge->bulk_per_pulse * split->pulse;
    motion.bulk -= motion.bulk.mean();
    motion.depths = tracks.depths;
    motion.bulk_share = b / gauge->scale;
    motion.pulse_share = a - gauge->bulk_per_pulse * motion.bulk_share;
    motion.weight = weight / weight.maxCoeff();
    motion.coherence = (weight * tracks.coherence).sum() / weight.sum();
    fit_bulk_line(motion);
    return motion;
}

}  // namespace echosieve
