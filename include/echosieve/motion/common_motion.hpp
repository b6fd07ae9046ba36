// The two time courses that everything along the line shares: the pulse and the bulk motion.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/phase_track.hpp"
#include "echosieve/motion/slow_time.hpp"

namespace echosieve {

// Symbols
//   u_z(i)  displacement of the gate at depth z in frame i [m]
//   p(i)    pulse: range (3 % to 97 %) 1, mean 0            a_z  its share at depth z [m]
//   q(i)    bulk motion (breathing, slip): mean 0 [m]       b_z  its share, median 1
//
//   u_z(i) = a_z p(i) + b_z q(i) + rest
//
// p and q span the first two singular vectors of the weighted tracks. Inside that plane they are
// told apart by speed: the ratio of variance above 0.7 Hz to the whole is largest for p and
// smallest for q (a generalised eigenvalue problem). The plane fixes them up to a mixture; the
// gauge is that the median depth has no share of p.

struct CommonMotionOptions {
    PhaseTrackOptions tracks;
    double slow_frequency = 0.7;    ///< below this a motion counts as slow [Hz]
    double lowest_coherence = 0.2;  ///< tracks at or below it hardly count
    int reweightings = 10;
};

inline void validate(const CommonMotionOptions& options) {
    validate(options.tracks);
    require(options.slow_frequency > 0, "slow_frequency", options.slow_frequency,
            "must be positive [Hz]");
    require(options.lowest_coherence >= 0 && options.lowest_coherence < 1, "lowest_coherence",
            options.lowest_coherence, "must lie in [0, 1)");
    require(options.reweightings >= 1, "reweightings", options.reweightings, "must be at least 1");
}

struct CommonMotion {
    Eigen::ArrayXd pulse;        ///< p, per frame
    Eigen::ArrayXd bulk;         ///< q, per frame [m]
    Eigen::ArrayXd depths;       ///< of the gates that it was estimated from [m]
    Eigen::ArrayXd pulse_share;  ///< a, per gate [m]
    Eigen::ArrayXd bulk_share;   ///< b, per gate
    Eigen::ArrayXd weight;       ///< trust in each gate's track, largest 1
    double coherence = 0;        ///< weighted mean coherence of the tracks
    double bulk_intercept = 1;   ///< b(z) ~ intercept + slope z: a robust line through bulk_share
    double bulk_slope = 0;       ///< [1/m]

    /// b at `depth` [m] from the line, kept within 0.5 to 1.6.
    [[nodiscard]] double bulk_share_at(double depth) const noexcept {
        return std::clamp(bulk_intercept + bulk_slope * depth, 0.5, 1.6);
    }
    /// False if there was nothing to estimate it from.
    [[nodiscard]] bool usable() const noexcept { return pulse.size() > 0; }
};

namespace detail {

/// The two rows-of-frames that span the tracks best, weighted per gate: [frames x 2], orthonormal.
[[nodiscard]] inline Eigen::MatrixXd leading_plane(const Eigen::ArrayXXd& tracks,
                                                   const Eigen::ArrayXd& weight) {
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
[[nodiscard]] inline Eigen::MatrixXd shares(const Eigen::ArrayXXd& tracks, const Eigen::ArrayXd& p,
                                            const Eigen::ArrayXd& q) {
    Eigen::MatrixXd basis(p.size(), 2);
    basis << (p - p.mean()).matrix(), (q - q.mean()).matrix();
    const Eigen::Matrix2d gram = basis.transpose() * basis;
    return gram.ldlt().solve(basis.transpose() * tracks.matrix());
}

/// p with mean 0, range 1 and a sign that makes the steepest change a rise.
[[nodiscard]] inline Eigen::ArrayXd normalised_pulse(const Eigen::ArrayXd& p, double frame_rate) {
    const Eigen::ArrayXd smooth = gaussian_smooth<double>(p, 0.008 * frame_rate);
    const Eigen::Index n = smooth.size();
    const Eigen::ArrayXd slope = smooth.tail(n - 1) - smooth.head(n - 1);
    const double sign = slope.cube().sum() < 0 ? -1 : 1;
    const double range = quantile(p, 0.97) - quantile(p, 0.03);
    return range > 0 ? Eigen::ArrayXd(sign * (p - p.mean()) / range) : Eigen::ArrayXd(p - p.mean());
}

/// Fits b = intercept + slope z with weights that fall with the misfit.
inline void fit_bulk_line(CommonMotion& motion) {
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

}  // namespace detail

/// Estimates p and q from the phase tracks of the whole line. Not usable() if the line holds fewer
/// than three gates or nothing in it is coherent from frame to frame.
[[nodiscard]] inline CommonMotion estimate_common_motion(const LineHistory& line,
                                                         const CommonMotionOptions& options = {}) {
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
        plane = detail::leading_plane(u, weight);
        const Eigen::ArrayXXd rest = u.matrix() - plane * (plane.transpose() * u.matrix());
        weight = trust.max(0.01).square() / (rms(rest) + 5e-6);
    }
    plane.rowwise() -= plane.colwise().mean().eval();
    Eigen::MatrixXd fast(plane.rows(), 2);
    for (Eigen::Index k = 0; k < 2; ++k) {
        fast.col(k) = without_slow_part(plane.col(k).array(), options.slow_frequency,
                                        line.settings.frame_rate)
                          .matrix();
    }
    const Eigen::Matrix2d whole = plane.transpose() * plane;
    if (!(whole.determinant() > 1e-12)) {
        return motion;  // one time course at most: nothing moves, or all of it alike
    }
    const Eigen::GeneralizedSelfAdjointEigenSolver<Eigen::Matrix2d> solver(
        Eigen::Matrix2d(fast.transpose() * fast), whole);
    Eigen::ArrayXd q = (plane * solver.eigenvectors().col(0)).array();
    const Eigen::ArrayXd p = detail::normalised_pulse(
        (plane * solver.eigenvectors().col(1)).array(), line.settings.frame_rate);

    Eigen::MatrixXd ab = detail::shares(u, p, q);
    const double scale = median(ab.row(1).transpose().array());
    if (!(std::abs(scale) > 0)) {
        return motion;
    }
    q *= scale;
    ab.row(1) /= scale;
    const double gauge =
        median((ab.row(0).array() / ab.row(1).array().max(0.3)).transpose());  // metres of q per p
    q += gauge * p;
    motion.pulse = p;
    motion.bulk = q - q.mean();
    motion.depths = tracks.depths;
    motion.pulse_share = (ab.row(0) - gauge * ab.row(1)).transpose().array();
    motion.bulk_share = ab.row(1).transpose().array();
    motion.weight = weight / weight.maxCoeff();
    motion.coherence = (weight * tracks.coherence).sum() / weight.sum();
    detail::fit_bulk_line(motion);
    return motion;
}

}  // namespace echosieve
