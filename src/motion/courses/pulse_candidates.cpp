#include "motion/courses/pulse_candidates.hpp"

#include <Eigen/Core>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <complex>
#include <utility>
#include <vector>

#include "echosieve/core/detail/whole_number.hpp"
#include "motion/courses/time_courses.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

// The line with its bulk motion turned back.
LineHistory without_bulk(const LineHistory& line, const CommonMotion& motion) {
    LineHistory still = line;
    const double k = line.phase_per_metre(line.settings.sensor.centre_frequency);
    for (Eigen::Index n = 0; n < still.samples.cols(); ++n) {
        const double depth = line.depth(static_cast<double>(n));
        const Eigen::ArrayXd path =
            motion.bulk_share_at(depth) * motion.bulk + line.slow_path(depth);
        still.samples.col(n) *= (std::complex<double>(0, k) * path).exp();
    }
    return still;
}

// V, [samples].
Eigen::ArrayXd followers(const Eigen::ArrayXXd& turns, const Eigen::ArrayXd& pulse,
                         Eigen::Index lag) {
    const Eigen::Index count = pulse.size() - lag;
    Eigen::ArrayXd velocity = pulse.tail(count) - pulse.head(count);
    velocity -= velocity.mean();
    const double size = std::sqrt(velocity.square().sum());
    if (!(size > 0)) {
        return Eigen::ArrayXd::Zero(turns.cols());
    }
    return -(velocity.matrix().transpose() * turns.matrix()).array().transpose() / size;
}

// sqrt(-V(z_1) V(z_2)) of the best two depths, whichever sign p has.
double opposition(const Eigen::ArrayXd& v, const LineHistory& line, const WallLimits& limits) {
    const double spacing = line.depth(1) - line.depth(0);
    const auto whole = [&](double place) { return held_whole(place, Eigen::Index{0}, v.size()); };
    const Eigen::Index first = whole(std::ceil(line.index(limits.first_depth)));
    const Eigen::Index nearest = whole(std::round(limits.smallest_diameter / spacing));
    const Eigen::Index furthest = whole(std::round(limits.largest_diameter / spacing));
    double best = 0;
    for (Eigen::Index i = first; i < v.size(); ++i) {
        for (Eigen::Index j = i + nearest; j < std::min(i + furthest, v.size()); ++j) {
            best = std::max(best, -v[i] * v[j]);
        }
    }
    return std::sqrt(best);
}

double correlation(const Eigen::ArrayXd& x, const Eigen::ArrayXd& y) {
    return std::abs((x * y).sum()) / std::sqrt(x.square().sum() * y.square().sum());
}

// What the gates show each by itself, and the two courses that explain most of them.
std::vector<Eigen::ArrayXd> guesses_of(const PhaseTracks& tracks, double rate,
                                       const PulseCandidateOptions& options) {
    std::vector<Eigen::ArrayXd> guesses;
    Eigen::MatrixXd all(tracks.displacement.rows(), tracks.displacement.cols());
    for (Eigen::Index g = 0; g < tracks.displacement.cols(); ++g) {
        const Eigen::ArrayXd u = gaussian_smooth<double>(
            without_slow_part(tracks.displacement.col(g), options.slow_frequency, rate),
            options.smoothing * rate);
        const double trust = std::max(tracks.coherence[g] - options.lowest_coherence, 0.0);
        all.col(g) = trust * u.matrix();
        if (trust > 0) {
            guesses.push_back(u);
        }
    }
    if (all.cols() > 1) {
        const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(all.transpose() * all);
        for (Eigen::Index k = 1; k <= 2; ++k) {
            guesses.push_back((all * solver.eigenvectors().col(all.cols() - k)).array());
        }
    }
    return guesses;
}

}  // namespace

std::vector<PulseCandidate> pulse_candidates(const LineHistory& line, const CommonMotion& motion,
                                             const WallLimits& limits,
                                             const PulseCandidateOptions& options) {
    validate(options);
    const double rate = line.settings.frame_rate;
    const LineHistory still = without_bulk(line, motion);
    PhaseTracks tracks = phase_tracks(still, options.tracks);
    join_tracks(still, tracks, (tracks.coherence - options.lowest_coherence).max(0).square(),
                options.joining);
    const Eigen::ArrayXXcd lines = matched_lines(still, options.tracks.line_smoothing);
    const Eigen::Index lag =
        held_whole(std::round(options.lag * rate), Eigen::Index{1}, line.frames() - 1);
    const Eigen::Index count = line.frames() - lag;
    const Eigen::ArrayXXd turns =
        (lines.topRows(count).conjugate() * lines.bottomRows(count)).imag();
    const double spacing = line.depth(1) - line.depth(0);
    const auto judged = [&](const Eigen::ArrayXd& pulse) {
        const Eigen::ArrayXd v = gaussian_smooth<double>(followers(turns, pulse, lag),
                                                         options.depth_smoothing / spacing);
        return PulseCandidate{pulse, opposition(v, line, limits)};
    };
    std::vector<PulseCandidate> ranked;
    for (const Eigen::ArrayXd& guess : guesses_of(tracks, rate, options)) {
        if (guess.square().sum() > 0) {
            ranked.push_back(judged(normalised_pulse(guess, rate)));
        }
    }
    std::stable_sort(ranked.begin(), ranked.end(),
                     [](const PulseCandidate& x, const PulseCandidate& y) {
                         return x.opposition > y.opposition;
                     });
    std::vector<PulseCandidate> out = {judged(motion.pulse)};
    for (PulseCandidate& candidate : ranked) {
        const bool known = std::any_of(out.begin(), out.end(), [&](const PulseCandidate& other) {
            return correlation(candidate.pulse, other.pulse) > options.alike;
        });
        if (!known) {
            out.push_back(std::move(candidate));
        }
    }
    return out;
}

}  // namespace echosieve
