#include "motion/courses/common_motion.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/QR>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <span>
#include <utility>
#include <vector>

#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"
#include "motion/courses/phase_track.hpp"
#include "motion/courses/time_courses.hpp"
#include "motion/courses/track_joining.hpp"
#include "motion/line/numbers.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

// The slowest cosines, orthonormal: [frames x K].
Eigen::MatrixXd slow_cosines(Eigen::Index frames, double fastest, double rate) {
    const Eigen::Index count = held_whole(
        std::floor(2 * fastest * static_cast<double>(frames) / rate), Eigen::Index{0}, frames / 2);
    Eigen::MatrixXd cosines(frames, count);
    for (Eigen::Index k = 0; k < count; ++k) {
        for (Eigen::Index i = 0; i < frames; ++i) {
            cosines(i, k) = std::sqrt(2 / static_cast<double>(frames)) *
                            std::cos(std::numbers::pi * static_cast<double>(k + 1) *
                                     (static_cast<double>(i) + 0.5) / static_cast<double>(frames));
        }
    }
    return cosines;
}

// Added to the tracks' own size before anything is fitted: coherent tracks count most, then those
// that hardly move [m].
constexpr double usual_track_size = 20e-6;
constexpr double usual_misfit =
    3e-6;                             // added in squares, so that no rest's logarithm runs away [m]
constexpr double least_trust = 0.01;  // of a track, while a few others settle what it has to fit
constexpr double strain_ridge = 1e-3;  // over the depths' spread: strains that the plane can follow
constexpr int line_reweightings = 8;   // of the gates, by how well the line of bulk shares fits
constexpr double usual_share_error = 0.01;  // of a bulk share, beside the median misfit
constexpr double outlying = 2;  // median misfits: from here on a share counts half or less
constexpr Eigen::Index fewest_gates = 3;          // for two courses and a rest
constexpr Eigen::Index fewest_frames_fitted = 8;  // for two courses

// Two courses and the slow strain that explain the tracks.
struct TrackFit {
    Eigen::ArrayXXd tracks;  // without the strain
    Eigen::MatrixXd plane;
    Eigen::ArrayXd weight;
    Eigen::ArrayXd stretch;
    double misfit = 0;  // ln of the rest's mean square, mean over the gates
};

class TrackFitter {
public:
    TrackFitter(const PhaseTracks& tracks, const CommonMotionOptions& options, double rate)
        : tracks_(tracks),
          options_(options),
          trust_((tracks.coherence - options.lowest_coherence).max(0)),
          cosines_(slow_cosines(tracks.displacement.rows(), options.fastest_stretch, rate)),
          centre_((trust_ * tracks.depths).sum() / trust_.sum()) {}

    [[nodiscard]] double centre() const { return centre_; }
    // For a slow strain to be seen.
    [[nodiscard]] bool long_enough() const { return cosines_.cols() > 0; }

    [[nodiscard]] TrackFit fit(bool stretched) const {
        const Eigen::ArrayXXd& u = tracks_.displacement;
        TrackFit out;
        out.tracks = u;
        out.weight = trust_.square() / (rms(u) + usual_track_size);
        if (stretched) {
            out.stretch = slope(u, out.weight);
            out.tracks = without(out.stretch);
        }
        for (int pass = 0; pass < options_.reweightings; ++pass) {
            out.plane = leading_plane(out.tracks, out.weight);
            const Eigen::ArrayXXd rest = rest_of(out);
            out.weight = trust_.max(least_trust).square() / (rms(rest) + usual_track_error);
            if (stretched) {
                out.stretch += step(out, rest);
                out.tracks = without(out.stretch);
            }
        }
        const Eigen::ArrayXd square = rms(rest_of(out)).square() + usual_misfit * usual_misfit;
        out.misfit = (trust_.square() * square.log()).sum() / trust_.square().sum();
        return out;
    }

private:
    [[nodiscard]] static Eigen::ArrayXd rms(const Eigen::ArrayXXd& x) {
        return (x.square().colwise().sum() / static_cast<double>(x.rows())).sqrt().transpose();
    }
    [[nodiscard]] static Eigen::ArrayXXd rest_of(const TrackFit& fit) {
        return fit.tracks.matrix() - fit.plane * (fit.plane.transpose() * fit.tracks.matrix());
    }
    [[nodiscard]] Eigen::ArrayXXd without(const Eigen::ArrayXd& stretch) const {
        const Eigen::VectorXd z = (tracks_.depths - centre_).matrix();
        return tracks_.displacement - (stretch.matrix() * z.transpose()).array();
    }
    // The slow part of what grows with depth.
    [[nodiscard]] Eigen::ArrayXd slope(const Eigen::ArrayXXd& u,
                                       const Eigen::ArrayXd& weight) const {
        const Eigen::ArrayXd z = tracks_.depths - centre_;
        const Eigen::ArrayXd w = weight.square();
        const double mean = (w * z).sum() / w.sum();
        const Eigen::VectorXd lever = (w * (z - mean)).matrix() / (w * (z - mean).square()).sum();
        return (cosines_ * (cosines_.transpose() * (u.matrix() * lever))).array();
    }

    // Gauss-Newton step of the strain, the two courses and their shares free to follow (variable
    // projection).
    [[nodiscard]] Eigen::ArrayXd step(const TrackFit& fit, const Eigen::ArrayXXd& rest) const {
        const Eigen::VectorXd w = fit.weight.matrix();
        const Eigen::MatrixXd weighted = fit.tracks.matrix() * w.asDiagonal();
        const Eigen::MatrixXd loads = weighted.transpose() * fit.plane;  // [gates x 2]
        const Eigen::HouseholderQR<Eigen::MatrixXd> qr(loads);
        const Eigen::MatrixXd q = qr.householderQ() * Eigen::MatrixXd::Identity(loads.rows(), 2);
        Eigen::VectorXd z = (fit.weight * (tracks_.depths - centre_)).matrix();
        const double whole = z.squaredNorm();
        z -= q * (q.transpose() * z);
        const Eigen::MatrixXd free = cosines_ - fit.plane * (fit.plane.transpose() * cosines_);
        Eigen::MatrixXd normal = free.transpose() * free * z.squaredNorm();
        normal.diagonal().array() += strain_ridge * whole;
        const Eigen::VectorXd gradient = free.transpose() * (rest.matrix() * (w.asDiagonal() * z));
        return (cosines_ * normal.llt().solve(gradient)).array();
    }

    const PhaseTracks& tracks_;
    const CommonMotionOptions& options_;
    Eigen::ArrayXd trust_;
    Eigen::MatrixXd cosines_;
    double centre_ = 0;
};

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
    for (int pass = 0; pass < line_reweightings; ++pass) {
        const double total = weight.sum();
        const double mean_z = (weight * z).sum() / total;
        const double mean_b = (weight * b).sum() / total;
        const double spread = (weight * (z - mean_z).square()).sum();
        motion.bulk_slope = spread > 0 ? (weight * (z - mean_z) * (b - mean_b)).sum() / spread : 0;
        motion.bulk_intercept = mean_b - motion.bulk_slope * mean_z;
        const Eigen::ArrayXd misfit = b - motion.bulk_intercept - motion.bulk_slope * z;
        const double scale = median(misfit.abs()) + usual_share_error;
        weight = 1 / (1 + (misfit / scale / outlying).square());
    }
}

CommonMotion estimate_common_motion(const LineHistory& line, const CommonMotionOptions& options) {
    const LineHistory* const only = &line;
    return std::move(estimate_common_motions({&only, 1}, options)[0]);
}

namespace {

// The tracks of all lines beside each other, and which of them are whose.
struct AllTracks {
    PhaseTracks tracks;
    std::vector<Eigen::Index> first;  // of each line, and their number at the end
};

AllTracks all_tracks(std::span<const LineHistory* const> lines,
                     const CommonMotionOptions& options) {
    AllTracks out;
    out.first = {0};
    for (const LineHistory* line : lines) {
        PhaseTracks tracks = phase_tracks(*line, options.tracks);
        const Eigen::Index before = out.first.back();
        const Eigen::Index gates = tracks.depths.size() < fewest_gates ? 0 : tracks.depths.size();
        if (gates > 0) {
            join_tracks(*line, tracks,
                        (tracks.coherence - options.lowest_coherence).max(0).square(),
                        options.joining);
        }
        out.first.push_back(before + gates);
        out.tracks.depths.conservativeResize(before + gates);
        out.tracks.coherence.conservativeResize(before + gates);
        out.tracks.displacement.conservativeResize(line->frames(), before + gates);
        out.tracks.depths.tail(gates) = tracks.depths.head(gates);
        out.tracks.coherence.tail(gates) = tracks.coherence.head(gates);
        out.tracks.displacement.rightCols(gates) = tracks.displacement.leftCols(gates);
    }
    return out;
}

// What one line has of the motion of all.
CommonMotion part_of(const CommonMotion& all, const PhaseTracks& tracks, Eigen::Index first,
                     Eigen::Index count) {
    CommonMotion out = all;
    out.depths = all.depths.segment(first, count);
    out.pulse_share = all.pulse_share.segment(first, count);
    out.bulk_share = all.bulk_share.segment(first, count);
    const Eigen::ArrayXd weight = all.weight.segment(first, count);
    out.weight = weight / weight.maxCoeff();
    out.coherence = (weight * tracks.coherence.segment(first, count)).sum() / weight.sum();
    fit_bulk_line(out);
    return out;
}

}  // namespace

std::vector<CommonMotion> estimate_common_motions(std::span<const LineHistory* const> lines,
                                                  const CommonMotionOptions& options) {
    validate(options);
    std::vector<CommonMotion> motions(lines.size());  // not usable, until they are
    const AllTracks all = all_tracks(lines, options);
    const PhaseTracks& tracks = all.tracks;
    const double rate = lines[0]->settings.frame_rate;
    if (tracks.depths.size() < fewest_gates || lines[0]->frames() < fewest_frames_fitted ||
        !(tracks.coherence.maxCoeff() > options.lowest_coherence)) {
        return motions;
    }
    CommonMotion motion;
    const TrackFitter fitter(tracks, options, rate);
    TrackFit fit = fitter.fit(false);
    if (fitter.long_enough()) {
        TrackFit stretched = fitter.fit(true);
        if (stretched.misfit < fit.misfit - options.least_gain) {
            fit = std::move(stretched);
            motion.stretch = fit.stretch;
            motion.stretch_centre = fitter.centre();
        }
    }
    const auto split = split_courses(fit.plane.col(0).array(), fit.plane.col(1).array(),
                                     options.slow_frequency, rate);
    if (!split) {
        return motions;
    }
    const Eigen::MatrixXd ab = shares(fit.tracks, split->pulse, split->bulk);
    const Eigen::ArrayXd a = ab.row(0).transpose().array();
    const Eigen::ArrayXd b = ab.row(1).transpose().array();
    const auto gauge = gauge_of(a, b);
    if (!gauge) {
        return motions;
    }
    motion.pulse = split->pulse;
    motion.bulk = gauge->scale * split->bulk + gauge->bulk_per_pulse * split->pulse;
    motion.bulk -= motion.bulk.mean();
    motion.depths = tracks.depths;
    motion.bulk_share = b / gauge->scale;
    motion.pulse_share = a - gauge->bulk_per_pulse * motion.bulk_share;
    motion.weight = fit.weight;
    for (std::size_t k = 0; k < lines.size(); ++k) {
        const Eigen::Index count = all.first[k + 1] - all.first[k];
        if (count > 0) {
            motions[k] = part_of(motion, tracks, all.first[k], count);
        }
    }
    return motions;
}

}  // namespace echosieve
