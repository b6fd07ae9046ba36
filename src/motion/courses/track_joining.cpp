#include "motion/courses/track_joining.hpp"

#include <Eigen/Core>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <utility>
#include <vector>

#include "echosieve/core/detail/whole_number.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

using Complex = std::complex<double>;

constexpr Eigen::Index most_steps = 2000;  // either way, that a course over a gap is searched by

// Four points (Lagrange) of a table with unit steps; its ends hold on.
Complex interpolated(const Eigen::ArrayXcd& table, double place) {
    const double inside = std::clamp(place, 1.0, static_cast<double>(table.size()) - 2.001);
    const auto k = held_whole(inside, Eigen::Index{1}, table.size() - 3);
    const double t = inside - static_cast<double>(k);
    return table[k - 1] * (-t * (t - 1) * (t - 2) / 6) +
           table[k] * ((t + 1) * (t - 1) * (t - 2) / 2) +
           table[k + 1] * (-(t + 1) * t * (t - 2) / 2) + table[k + 2] * ((t + 1) * t * (t - 1) / 6);
}

// What the gates hold at both edges of one gap, correlated.
class Gap {
public:
    Gap(const LineHistory& line, const PhaseTracks& tracks, double half_gate, Eigen::Index last,
        Eigen::Index first, Eigen::Index window, double reach)
        : step_(line.depth(1) - line.depth(0)),
          phase_per_metre_(line.phase_per_metre(line.grid.mixing_frequency)) {
        const Eigen::Index gates = tracks.depths.size();
        lags_ = held_whole(std::ceil(reach / step_), Eigen::Index{0}, line.samples.cols()) + 3;
        for (Eigen::Index g = 0; g < gates; ++g) {
            const Eigen::ArrayXd u = tracks.displacement.col(g);
            const std::pair<Eigen::Index, Eigen::Index> gate =
                line.gate(tracks.depths[g], half_gate);
            const Eigen::Index begin = gate.first;
            const Eigen::Index end = gate.second;
            const Eigen::Index from = std::max<Eigen::Index>(0, begin - lags_);
            const Eigen::Index to = std::min(line.samples.cols(), end + lags_);
            const auto mean = [&](Eigen::Index at, Eigen::Index since) {
                Eigen::ArrayXcd sum = Eigen::ArrayXcd::Zero(to - from);
                for (Eigen::Index i = since; i < since + window; ++i) {
                    if (line.usable[static_cast<std::size_t>(i)]) {
                        sum += std::polar(1.0, phase_per_metre_ * (u[i] - u[at])) *
                               line.samples.row(i).segment(from, to - from).transpose();
                    }
                }
                return sum;
            };
            const Eigen::ArrayXcd before = mean(last, last - window + 1);
            const Eigen::ArrayXcd after = mean(first, first);
            Eigen::ArrayXcd table = Eigen::ArrayXcd::Zero(2 * lags_ + 1);
            double square = 0;
            for (Eigen::Index n = begin; n < end; ++n) {
                square += std::norm(before[n - from]);
                for (Eigen::Index lag = -lags_; lag <= lags_; ++lag) {
                    if (n + lag >= from && n + lag < to) {
                        table[lag + lags_] += std::conj(before[n - from]) * after[n + lag - from];
                    }
                }
            }
            const double other = after.segment(begin - from, end - begin).abs2().sum();
            table_.push_back(table / std::max(std::sqrt(square * other), 1e-300));
        }
    }

    // X_z of gate g, moved by `path` [m].
    [[nodiscard]] Complex match(Eigen::Index g, double path) const {
        return interpolated(table_[static_cast<std::size_t>(g)],
                            path / step_ + static_cast<double>(lags_)) *
               std::polar(1.0, phase_per_metre_ * path);
    }
    // The path near `path` that the gate's own phase asks for.
    [[nodiscard]] double settled(Eigen::Index g, double path) const {
        return path - std::arg(match(g, path)) / phase_per_metre_;
    }

private:
    double step_;
    double phase_per_metre_;
    Eigen::Index lags_ = 0;
    std::vector<Eigen::ArrayXcd> table_;
};

// Courses in the order of what they move the gates by: loads [2 x gates], each of rms 1 over the
// gates, and the range [m] of the courses that go with them.
struct Courses {
    Eigen::MatrixXd loads;
    Eigen::Vector2d range;
};

Courses courses_of(const PhaseTracks& tracks, const Eigen::ArrayXd& trust) {
    const Eigen::ArrayXXd& u = tracks.displacement;
    Eigen::ArrayXd weight = trust;
    Eigen::MatrixXd plane;
    for (int pass = 0; pass < 10; ++pass) {
        plane = leading_plane(u, weight);
        const Eigen::ArrayXXd rest = u.matrix() - plane * (plane.transpose() * u.matrix());
        weight = trust / (rest.square().colwise().mean().sqrt().transpose() + 5e-6);
    }
    const Eigen::MatrixXd loads = plane.transpose() * u.matrix();
    const Eigen::ArrayXd part = trust / trust.sum();
    const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> solver(
        Eigen::Matrix2d(loads * part.matrix().asDiagonal() * loads.transpose()));
    const Eigen::Vector2d size = solver.eigenvalues().cwiseMax(1e-30).cwiseSqrt();
    const Eigen::Matrix2d& turn = solver.eigenvectors();
    Courses out;
    out.loads = size.cwiseInverse().asDiagonal() * turn.transpose() * loads;
    const Eigen::MatrixXd courses = plane * turn * size.asDiagonal();
    out.range = (courses.colwise().maxCoeff() - courses.colwise().minCoeff()).transpose();
    return out;
}

}  // namespace

void join_tracks(const LineHistory& line, PhaseTracks& tracks, const Eigen::ArrayXd& trust,
                 const TrackJoiningOptions& options) {
    validate(options);
    if (tracks.runs.size() < 2 || !(trust.maxCoeff() > 0)) {
        return;
    }
    const Eigen::Index gates = tracks.depths.size();
    const Courses courses = courses_of(tracks, trust);
    Eigen::Vector2d reach;
    Eigen::Vector2d step;
    for (Eigen::Index k = 0; k < 2; ++k) {
        reach[k] =
            std::clamp(options.reach * courses.range[k], options.least_reach, options.most_reach);
        step[k] = line.half_wavelength() / 8 /
                  std::max(1.0, quantile(courses.loads.row(k).transpose().array().abs(), 0.9));
    }
    const double furthest =
        std::min((courses.loads.cwiseAbs().transpose() * reach).maxCoeff(), 2 * options.most_reach);
    std::vector<bool> measured(static_cast<std::size_t>(line.frames()), false);
    const Eigen::Index most = held_whole(std::round(options.window * line.settings.frame_rate),
                                         Eigen::Index{1}, line.frames());
    const auto mark = [&](const FrameRun& run) {
        std::fill_n(measured.begin() + static_cast<std::ptrdiff_t>(run.first), run.count, true);
    };
    mark(tracks.runs[0]);
    for (std::size_t s = 1; s < tracks.runs.size(); ++s) {
        const FrameRun& before = tracks.runs[s - 1];
        const FrameRun& after = tracks.runs[s];
        const auto last = static_cast<Eigen::Index>(before.first + before.count) - 1;
        const auto first = static_cast<Eigen::Index>(after.first);
        const Eigen::Index window = std::min({most, static_cast<Eigen::Index>(before.count),
                                              static_cast<Eigen::Index>(after.count)});
        const Gap gap(line, tracks, tracks.half_gate, last, first, window, furthest);
        const auto score = [&](const Eigen::Vector2d& d) {
            double sum = 0;
            for (Eigen::Index g = 0; g < gates; ++g) {
                if (trust[g] > 0) {
                    const Complex match = gap.match(g, courses.loads.col(g).dot(d));
                    sum += trust[g] * (std::abs(match) + match.real()) / 2;
                }
            }
            return sum;
        };
        Eigen::Vector2d best = Eigen::Vector2d::Zero();
        double most_alike = -std::numeric_limits<double>::infinity();
        const auto search = [&](const Eigen::Vector2d& far, const Eigen::Vector2d& by) {
            const Eigen::Vector2d centre(best[0], best[1]);  // it moves meanwhile
            const auto steps = [&](Eigen::Index k) {
                return held_whole(std::ceil(far[k] / by[k]), Eigen::Index{0}, most_steps);
            };
            for (Eigen::Index i = -steps(0); i <= steps(0); ++i) {
                for (Eigen::Index j = -steps(1); j <= steps(1); ++j) {
                    const Eigen::Vector2d d =
                        centre + Eigen::Vector2d(static_cast<double>(i) * by[0],
                                                 static_cast<double>(j) * by[1]);
                    const double alike = score(d);
                    if (alike > most_alike) {
                        most_alike = alike;
                        best = d;
                    }
                }
            }
        };
        search(reach, step);
        for (const double part : {1.0 / 3, 1.0 / 9, 1.0 / 27}) {
            search(3 * part * step, part * step);
        }
        for (Eigen::Index g = 0; g < gates; ++g) {
            const double path = gap.settled(g, courses.loads.col(g).dot(best));
            auto u = tracks.displacement.col(g);
            u.segment(first, static_cast<Eigen::Index>(after.count)) += path - u[first] + u[last];
        }
        mark(after);
    }
    bridge(tracks.displacement, measured);
    tracks.displacement.rowwise() -= tracks.displacement.colwise().mean();
}

}  // namespace echosieve
