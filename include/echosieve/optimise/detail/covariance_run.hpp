// One run of evolution with an adapted covariance matrix, restarts included.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numeric>
#include <span>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/covariance_distribution.hpp"
#include "echosieve/optimise/detail/covariance_weights.hpp"
#include "echosieve/optimise/detail/point_table.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve::detail {

// Period 2, even: 0 to 1 for every number, 0 for a NaN or an infinity.
[[nodiscard]] inline double folded(double u) noexcept {
    const double rest = std::fmod(std::abs(u), 2);
    return rest <= 1 ? rest : rest < 2 ? 2 - rest : 0;
}

// Whether a run has come to its end: see the options.
template <class Options, Real R>
class CovarianceEnd {
public:
    CovarianceEnd(const Options& options, std::size_t n, std::size_t population,
                  Workspace& workspace)
        : options_(options),
          bests_(workspace.take<Merit<R>>(10 + (30 * n + population - 1) / population)) {}

    // Of the points of an iteration, by their order. Whether the values told nothing.
    bool note(std::span<const Merit<R>> merits, std::span<const std::size_t> order) noexcept {
        const Merit<R>& best = merits[order.front()];
        bests_[iterations_++ % bests_.size()] = best;
        const bool flat = !best.better_than(merits[order[(7 * order.size() - 1) / 10]]);
        flat_ = flat ? flat_ + 1 : 0;
        return flat;
    }
    [[nodiscard]] OptimiseStatus status(const CovarianceDistribution& drawn) const noexcept {
        if (flat_ >= options_.flat_iterations || values_agree()) {
            return OptimiseStatus::converged_value;
        }
        if (drawn.reach() <= options_.step_tolerance) {
            return OptimiseStatus::converged_step;
        }
        return drawn.condition() > options_.condition_limit ? OptimiseStatus::ill_conditioned
                                                            : OptimiseStatus::not_run;
    }

private:
    [[nodiscard]] bool values_agree() const noexcept {
        if (iterations_ < bests_.size()) {
            return false;
        }
        double least = std::numeric_limits<double>::infinity();
        double greatest = -least;
        for (const Merit<R>& best : bests_) {
            if (best.violation != bests_.front().violation) {
                return false;
            }
            least = std::min(least, static_cast<double>(best.value));
            greatest = std::max(greatest, static_cast<double>(best.value));
        }
        return greatest - least <=
               options_.value_tolerance * std::max(std::abs(least), std::abs(greatest));
    }

    const Options& options_;
    std::span<Merit<R>> bests_;  // of the last iterations, in no order
    std::size_t iterations_ = 0;
    std::size_t flat_ = 0;
};

// Options are a CovarianceAdaptation, whose symbols these are.
template <class Options, class F, Real R, class Watch>
class CovarianceRun {
public:
    CovarianceRun(const Options& options, const OptimiseTask<F, R, Watch>& task)
        : options_((validate(options), options)),
          box_(task.box),
          search_(task, limits_of(options)),
          workspace_(task.workspace),
          point_(workspace_.take<R>(box_.dimension())),
          free_(free_coordinates(box_, workspace_)),
          first_population_(options.population > 0
                                ? options.population
                                : usual_population(std::max<std::size_t>(free_.size(), 1))) {
        check_population<R>("population", first_population_, box_.dimension());
        first_mean_ = workspace_.take<double>(free_.size());
    }

    [[nodiscard]] OptimiseResult<R> run() {
        place_first();
        search_.evaluate(std::span<const R>(point_));
        if (free_.empty() && search_.goes_on(0)) {
            search_.end(OptimiseStatus::converged_step);
        }
        for (std::size_t run = 0; !search_.ended(); ++run) {
            run_population(run);
        }
        return search_.result();
    }

private:
    // The point of coordinate k at u widths of the box from its lower bound.
    [[nodiscard]] R place(std::size_t k, double u) const noexcept {
        const double lower = static_cast<double>(box_.lower(k));
        const double width = static_cast<double>(box_.upper(k)) - lower;
        return std::clamp(static_cast<R>(lower + u * width), box_.lower(k), box_.upper(k));
    }
    void write_random_mean(std::span<double> mean, std::uint64_t run) const {
        RandomStream stream(search_.task().seed, ~run);
        std::ranges::generate(mean, [&] { return stream.uniform(); });
    }
    void place_first() {
        const std::span<const R> start = search_.task().start;
        std::ranges::copy(box_.lower(), point_.begin());
        for (std::size_t k = 0; k < start.size(); ++k) {
            point_[k] = std::clamp(start[k], box_.lower(k), box_.upper(k));
        }
        write_random_mean(first_mean_, 0);
        for (std::size_t j = 0; j < free_.size(); ++j) {
            const std::size_t k = free_[j];
            if (start.empty()) {
                point_[k] = place(k, first_mean_[j]);
            } else {
                first_mean_[j] = static_cast<double>((point_[k] - box_.lower(k)) / box_.width(k));
            }
        }
    }

    // What one population is drawn from, and what came of it.
    struct Population {
        CovarianceDistribution drawn;
        CovarianceEnd<Options, R> end;
        PointTable<R> x;
        std::span<Merit<R>> merits;
        std::span<std::size_t> order;
        std::span<RandomStream> streams;
    };
    // No more points than may yet be evaluated.
    [[nodiscard]] std::size_t points_of(std::size_t run) const {
        const double grown = static_cast<double>(first_population_) *
                             std::pow(options_.population_growth, static_cast<double>(run));
        return std::max(first_population_,
                        std::min(search_.remaining(), static_cast<std::size_t>(grown)));
    }
    [[nodiscard]] Population begin(std::size_t run, std::size_t points) {
        const std::uint64_t seed = search_.task().seed;
        Population p{CovarianceDistribution(free_.size(), points, workspace_),
                     CovarianceEnd<Options, R>(options_, free_.size(), points, workspace_),
                     PointTable<R>(points, box_.dimension(), workspace_),
                     workspace_.take<Merit<R>>(points),
                     workspace_.take<std::size_t>(points),
                     workspace_.take(points, RandomStream(seed))};
        for (std::size_t i = 0; i < points; ++i) {
            p.streams[i] = RandomStream(seed, (std::uint64_t{run} << 32) + i);
            p.x.write(i, point_);
        }
        std::ranges::copy(first_mean_, p.drawn.mean().begin());
        if (run > 0) {
            write_random_mean(p.drawn.mean(), run);
        }
        p.drawn.set_step(options_.initial_step);
        return p;
    }
    // The run that sets out with this number of points; it ends the search, or the next follows.
    void run_population(std::size_t run) {
        const Workspace::Scope scope(workspace_);
        const std::size_t points = points_of(run);
        Population p = begin(run, points);
        while (search_.goes_on(points)) {
            if (why_ != OptimiseStatus::not_run) {
                search_.end(why_);
                break;
            }
            draw(p);
            search_.evaluate(p.x, p.merits);
            why_ = learn(p);
            if (why_ != OptimiseStatus::not_run && run < options_.restarts) {
                why_ = OptimiseStatus::not_run;
                break;
            }
        }
    }
    void draw(Population& p) {
        for (std::size_t i = 0; i < p.merits.size(); ++i) {
            for (std::size_t tries = 0; tries <= options_.redraws; ++tries) {
                p.drawn.draw(i, p.streams[i]);
                if (p.drawn.inside(i)) {
                    break;
                }
            }
            for (std::size_t j = 0; j < free_.size(); ++j) {
                p.x(i, free_[j]) = place(free_[j], folded(p.drawn.point(i, j)));
            }
        }
    }
    // Why this run is over; not_run: it is not.
    [[nodiscard]] OptimiseStatus learn(Population& p) {
        const auto& merits = p.merits;
        std::iota(p.order.begin(), p.order.end(), std::size_t{0});
        std::ranges::sort(p.order, [&](std::size_t a, std::size_t b) {
            return merits[a].better_than(merits[b]) || (!merits[b].better_than(merits[a]) && a < b);
        });
        const bool flat = p.end.note(merits, p.order);
        const bool sound = p.drawn.learn(p.order);
        if (flat) {
            p.drawn.widen();
        }
        // Wider than the box is no wider: folded, the points are everywhere already.
        p.drawn.set_step(std::min(p.drawn.step(), 1 / p.drawn.longest_axis()));
        return sound ? p.end.status(p.drawn) : OptimiseStatus::ill_conditioned;
    }

    const Options& options_;
    const Box<R>& box_;
    Search<F, R, Watch> search_;
    Workspace& workspace_;
    std::span<R> point_;           // where the search sets out, all coordinates
    std::span<std::size_t> free_;  // those that have a width
    std::size_t first_population_;
    std::span<double> first_mean_;
    OptimiseStatus why_ = OptimiseStatus::not_run;
};

}  // namespace echosieve::detail
