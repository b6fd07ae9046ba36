#include "motion/courses/track_joining.hpp"

#include <Eigen/Core>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <utility>
#include <vector>

#include "echosieve/core/detail/whole_number.hpp"
#include "motion/line/grid_search.hpp"
#include "motion/line/numbers.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

using Complex = std::complex<double>;

constexpr long most_gap_steps = 2000;  // either way, that a course over a gap is searched by
// Of the coarse grid: a gate's match turns once over half a wavelength.
constexpr double steps_per_half_wave = 8;
// Part of the gates whose loads are no larger than what the coarse steps are made for.
constexpr double usual_load = 0.9;
constexpr int reweightings = 10;  // of the tracks, by how well two courses fit them
// Courses that move no gate still have a size to divide by [m^2].
constexpr double least_size = 1e-30;
// How much finer than the first grid those about its best place are.
constexpr double finer[] = {1.0 / 3, 1.0 / 9, 1.0 / 27};

// Two points lie behind a place, and a little of the step to them.
constexpr double beyond_last = 2.001;

// Four points (Lagrange) of a table with unit steps; its ends hold on.
Complex interpolated(const Eigen::ArrayXcd& table, double place) {
    const double inside = std::clamp(place, 1.0, static_cast<double>(table.size()) - beyond_last);
    const auto k = held_whole(inside, Eigen::Index{1}, table.size() - 3);
    const double t = inside - static_cast<double>(k);
    return table[k - 1] * (-t * (t - 1) * (t - 2) / 6) +
           table[k] * ((t + 1) * (t - 1) * (t - 2) / 2) +
           table[k + 1] * (-(t + 1) * t * (t - 2) / 2) + table[k + 2] * ((t + 1) * t * (t - 1) / 6);
}

// Where a gap lies: the last frame before it, the first one after it, and how many frames on either
// side are averaged.
struct GapEdges {
    Eigen::Index last = 0;
    Eigen::Index first = 0;
    Eigen::Index window = 0;
};

// What the gates hold at both edges of one gap, correlated.
class Gap {
public:
    Gap(const LineHistory& line, const PhaseTracks& tracks, const GapEdges& edges, double reach)
        : step_(line.depth(1) - line.depth(0)),
          phase_per_metre_(line.phase_per_metre(line.grid.mixing_frequency)) {
        lags_ = held_whole(std::ceil(reach / step_), Eigen::Index{0}, line.samples.cols()) + 3;
        for (Eigen::Index g = 0; g < tracks.depths.size(); ++g) {
            table_.push_back(table_of(line, tracks, g, edges));
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
    // Correlation of a gate's echoes before and after, by the lag in samples.
    [[nodiscard]] Eigen::ArrayXcd table_of(const LineHistory& line, const PhaseTracks& tracks,
                                           Eigen::Index g, const GapEdges& edges) const {
        const Eigen::ArrayXd u = tracks.displacement.col(g);
        const std::pair<Eigen::Index, Eigen::Index> gate =
            line.gate(tracks.depths[g], tracks.half_gate);
        const Eigen::Index begin = gate.first;
        const Eigen::Index end = gate.second;
        const Eigen::Index from = std::max<Eigen::Index>(0, begin - lags_);
        const Eigen::Index to = std::min(line.samples.cols(), end + lags_);
        const auto mean = [&](Eigen::Index at, Eigen::Index since) {
            Eigen::ArrayXcd sum = Eigen::ArrayXcd::Zero(to - from);
            for (Eigen::Index i = since; i < since + edges.window; ++i) {
                if (line.usable[static_cast<std::size_t>(i)]) {
                    sum += std::polar(1.0, phase_per_metre_ * (u[i] - u[at])) *
                           line.samples.row(i).segment(from, to - from).transpose();
                }
            }
            return sum;
        };
        const Eigen::ArrayXcd before = mean(edges.last, edges.last - edges.window + 1);
        const Eigen::ArrayXcd after = mean(edges.first, edges.first);
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
        return table / std::max(std::sqrt(square * other), least_divisor);
    }

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
    for (int pass = 0; pass < reweightings; ++pass) {
        plane = leading_plane(u, weight);
        const Eigen::ArrayXXd rest = u.matrix() - plane * (plane.transpose() * u.matrix());
        weight = trust / (rest.square().colwise().mean().sqrt().transpose() + usual_track_error);
    }
    const Eigen::MatrixXd loads = plane.transpose() * u.matrix();
    const Eigen::ArrayXd part = trust / trust.sum();
    const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> solver(
        Eigen::Matrix2d(loads * part.matrix().asDiagonal() * loads.transpose()));
    const Eigen::Vector2d size = solver.eigenvalues().cwiseMax(least_size).cwiseSqrt();
    const Eigen::Matrix2d& turn = solver.eigenvectors();
    Courses out;
    out.loads = size.cwiseInverse().asDiagonal() * turn.transpose() * loads;
    const Eigen::MatrixXd courses = plane * turn * size.asDiagonal();
    out.range = (courses.colwise().maxCoeff() - courses.colwise().minCoeff()).transpose();
    return out;
}

// What is searched over a gap: of each course [m], and of a gate.
struct Reach {
    Eigen::Vector2d courses;
    Eigen::Vector2d step;
    double gate = 0;
};

Reach reach_of(const Courses& courses, double half_wavelength, const TrackJoiningOptions& options) {
    Reach out;
    for (Eigen::Index k = 0; k < 2; ++k) {
        out.courses[k] =
            std::clamp(options.reach * courses.range[k], options.least_reach, options.most_reach);
        out.step[k] =
            half_wavelength / steps_per_half_wave /
            std::max(1.0, quantile(courses.loads.row(k).transpose().array().abs(), usual_load));
    }
    out.gate = std::min((courses.loads.cwiseAbs().transpose() * out.courses).maxCoeff(),
                        2 * options.most_reach);
    return out;
}

// d: what the courses moved by over the gap.
Eigen::Vector2d moved_over(const Gap& gap, const Courses& courses, const Eigen::ArrayXd& trust,
                           const Reach& reach) {
    const auto alike = [&](double first, double second) {
        const Eigen::Vector2d d(first, second);
        double sum = 0;
        for (Eigen::Index g = 0; g < trust.size(); ++g) {
            if (trust[g] > 0) {
                const Complex match = gap.match(g, courses.loads.col(g).dot(d));
                sum += trust[g] * (std::abs(match) + match.real()) / 2;
            }
        }
        return sum;
    };
    BestPlace best;
    const auto look = [&](const Eigen::Vector2d& far, const Eigen::Vector2d& by) {
        const auto axis = [&](Eigen::Index k) {
            return steps_about(by[k], held_whole(std::ceil(far[k] / by[k]), 0L, most_gap_steps));
        };
        best.look_about(axis(0), axis(1), alike);
    };
    look(reach.courses, reach.step);
    for (const double part : finer) {
        look(refined_steps * part * reach.step, part * reach.step);
    }
    return {best.x, best.y};
}

}  // namespace

void join_tracks(const LineHistory& line, PhaseTracks& tracks, const Eigen::ArrayXd& trust,
                 const TrackJoiningOptions& options) {
    validate(options);
    if (tracks.runs.size() < 2 || !(trust.maxCoeff() > 0)) {
        return;
    }
    const Courses courses = courses_of(tracks, trust);
    const Reach reach = reach_of(courses, line.half_wavelength(), options);
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
        const auto count = static_cast<Eigen::Index>(after.count);
        const GapEdges edges{static_cast<Eigen::Index>(before.first + before.count) - 1,
                             static_cast<Eigen::Index>(after.first),
                             std::min({most, static_cast<Eigen::Index>(before.count), count})};
        const Gap gap(line, tracks, edges, reach.gate);
        const Eigen::Vector2d moved = moved_over(gap, courses, trust, reach);
        for (Eigen::Index g = 0; g < tracks.depths.size(); ++g) {
            const double path = gap.settled(g, courses.loads.col(g).dot(moved));
            auto u = tracks.displacement.col(g);
            u.segment(edges.first, count) += path - u[edges.first] + u[edges.last];
        }
        mark(after);
    }
    bridge(tracks.displacement, measured);
    tracks.displacement.rowwise() -= tracks.displacement.colwise().mean();
}

}  // namespace echosieve
