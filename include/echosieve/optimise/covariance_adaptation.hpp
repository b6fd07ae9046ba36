// Evolution with an adapted covariance matrix: for smooth problems, also ill-conditioned and
// rotated ones, that may have many local optima.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numeric>
#include <span>
#include <type_traits>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/covariance_distribution.hpp"
#include "echosieve/optimise/detail/covariance_weights.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/limits.hpp"
#include "echosieve/optimise/workspace.hpp"

namespace echosieve {

// Symbols
//   u         a point in box widths from the lower bounds, over the coordinates that have a width
//   n         their number;  lambda  the population
//   m, sigma, C   see covariance_distribution.hpp
// Points are folded back into the box: beyond a bound the objective is its own mirror image, and
// the distribution knows no bounds. (Hansen 2016, arXiv:1604.00772; restarts with a growing
// population: Auger and Hansen 2005, CEC, "IPOP".)

/// Draws a whole population, then evaluates all, then learns. Only the order of the values counts:
/// any rising function of the objective takes the same course as long as no run ends by
/// value_tolerance, and so does a box that is shifted or scaled. Constraints by Deb's rules. The
/// first run sets out from `start` or, without one, from a point at random, and ends where one of
/// four criteria holds: value_tolerance, step_tolerance, condition_limit, flat_iterations. The next
/// sets out at random with more points; after the last restart the work ends. Computes in double
/// whatever R is. Point i of run r draws from stream 2^32 r + i of the seed.
struct CovarianceAdaptation {
    std::size_t population = 0;     ///< lambda of the first run, >= 3; 0: 4 + floor(3 ln n)
    std::size_t iterations = 1000;  ///< of all runs together
    double initial_step = 0.3;      ///< sigma at the start of each run, in box widths
    /// How often a point that falls outside the box is drawn anew, before it is folded back.
    std::size_t redraws = 1;
    std::size_t restarts = 9;
    double population_growth = 2;  ///< factor of the population from run to run, >= 1
    /// A run ends when the best values of its last 10 + 30 n / lambda iterations differ by no more
    /// than this part of their greatest modulus.
    double value_tolerance = 1e-13;
    /// ... when no coordinate's standard deviation, nor its path, exceeds this [box widths].
    double step_tolerance = 1e-11;
    /// ... when the condition of C exceeds this.
    double condition_limit = 1e14;
    /// ... when the best 70 % of the points had one value in so many iterations in a row.
    std::size_t flat_iterations = 10;
    double target = -std::numeric_limits<double>::infinity();  ///< this and the next: see Limits
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();  ///< >= 1

    /// `start` is empty or a point, clamped to the box. Throws InvalidInput for invalid options, a
    /// start of another dimension or with a NaN, or a box whose width is not finite.
    /// Once the workspace has its size, a run allocates the x of its
    /// result and nothing else.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R>
    [[nodiscard]] OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                             std::type_identity_t<std::span<const R>> start,
                                             Watch& observer, Workspace& workspace) const;
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
inline void validate(const CovarianceAdaptation& options) {
    require(options.population == 0 || options.population >= 3, "population", options.population,
            "must be 0 or at least 3");
    require(options.initial_step > 0 && options.initial_step <= 1, "initial_step",
            options.initial_step, "must lie in (0, 1] [box widths]");
    require(options.population_growth >= 1 && is_finite(options.population_growth),
            "population_growth", options.population_growth, "must be at least 1 and finite");
    require(std::pow(options.population_growth, static_cast<double>(options.restarts)) <= 0x1p20,
            "restarts", options.restarts, "must not grow the population more than 2^20-fold");
    require(options.value_tolerance >= 0, "value_tolerance", options.value_tolerance,
            "must be zero or more");
    require(options.step_tolerance >= 0, "step_tolerance", options.step_tolerance,
            "must be zero or more [box widths]");
    require(options.condition_limit > 1, "condition_limit", options.condition_limit,
            "must exceed 1");
    require(options.flat_iterations >= 1, "flat_iterations", options.flat_iterations,
            "must be at least 1");
    validate(limits_of(options), 1);
}

namespace detail {

// Period 2, even: 0 to 1 for every number, 0 for a NaN or an infinity.
[[nodiscard]] inline double folded(double u) noexcept {
    const double rest = std::fmod(std::abs(u), 2);
    return rest <= 1 ? rest : rest < 2 ? 2 - rest : 0;
}

// Whether a run has come to its end: see the options.
template <Real R>
class CovarianceEnd {
public:
    CovarianceEnd(const CovarianceAdaptation& options, std::size_t n, std::size_t population,
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

    const CovarianceAdaptation& options_;
    std::span<Merit<R>> bests_;  // of the last iterations, in no order
    std::size_t iterations_ = 0;
    std::size_t flat_ = 0;
};

}  // namespace detail

template <class F, Real R, class Watch>
requires Objective<F, R> && Observer<Watch, R>
OptimiseResult<R> CovarianceAdaptation::minimise(F& objective, const Box<R>& box,
                                                 std::uint64_t seed,
                                                 std::type_identity_t<std::span<const R>> start,
                                                 Watch& observer, Workspace& workspace) const {
    validate(*this);
    detail::check_search_input(box, start);
    const Workspace::Scope scope(workspace);
    detail::Search<R, F, Watch> search(objective, box, limits_of(*this), observer, workspace);
    const std::span<R> point = workspace.take<R>(box.dimension());
    std::span<std::size_t> free = workspace.take<std::size_t>(box.dimension());
    std::size_t n = 0;
    for (std::size_t k = 0; k < box.dimension(); ++k) {
        if (box.width(k) > 0) {
            free[n++] = k;
        }
    }
    free = free.first(n);
    const std::size_t first_population =
        population > 0 ? population : usual_population(std::max<std::size_t>(n, 1));
    detail::check_population<R>("population", first_population, box.dimension());
    const std::span<double> first_mean = workspace.take<double>(n);
    const auto place = [&](std::size_t k, double u) {
        const double lower = static_cast<double>(box.lower(k));
        const double width = static_cast<double>(box.upper(k)) - lower;
        return std::clamp(static_cast<R>(lower + u * width), box.lower(k), box.upper(k));
    };

    std::ranges::copy(box.lower(), point.begin());
    for (std::size_t k = 0; k < start.size(); ++k) {
        point[k] = std::clamp(start[k], box.lower(k), box.upper(k));
    }
    const auto random_mean = [&](std::span<double> mean, std::uint64_t run) {
        RandomStream stream(seed, ~run);
        std::ranges::generate(mean, [&] { return stream.uniform(); });
    };
    random_mean(first_mean, 0);
    for (std::size_t j = 0; j < n; ++j) {
        const std::size_t k = free[j];
        if (start.empty()) {
            point[k] = place(k, first_mean[j]);
        } else {
            first_mean[j] = static_cast<double>((point[k] - box.lower(k)) / box.width(k));
        }
    }
    search.evaluate(std::span<const R>(point));

    if (n == 0 && search.goes_on(0)) {
        search.end(OptimiseStatus::converged_step);
    }
    OptimiseStatus why = OptimiseStatus::not_run;
    for (std::size_t run = 0; !search.ended(); ++run) {
        const Workspace::Scope run_scope(workspace);
        // No more points than may yet be evaluated.
        const std::size_t points = std::max(
            first_population, std::min(search.remaining(),
                                       static_cast<std::size_t>(
                                           static_cast<double>(first_population) *
                                           std::pow(population_growth, static_cast<double>(run)))));
        detail::CovarianceDistribution drawn(n, points, workspace);
        detail::CovarianceEnd<R> end(*this, n, points, workspace);
        detail::PointTable<R> x(points, box.dimension(), workspace);
        const auto merits = workspace.take<Merit<R>>(points);
        const auto order = workspace.take<std::size_t>(points);
        const auto streams = workspace.take(points, RandomStream(seed));
        for (std::size_t i = 0; i < points; ++i) {
            streams[i] = RandomStream(seed, (std::uint64_t{run} << 32) + i);
            x.write(i, point);
        }
        std::ranges::copy(first_mean, drawn.mean().begin());
        if (run > 0) {
            random_mean(drawn.mean(), run);
        }
        drawn.set_step(initial_step);
        const auto draw_point = [&](std::size_t i) {
            for (std::size_t tries = 0; tries <= redraws; ++tries) {
                drawn.draw(i, streams[i]);
                if (drawn.inside(i)) {
                    break;
                }
            }
        };

        while (search.goes_on(points)) {
            if (why != OptimiseStatus::not_run) {
                search.end(why);
                break;
            }
            for (std::size_t i = 0; i < points; ++i) {
                draw_point(i);
                for (std::size_t j = 0; j < n; ++j) {
                    x(i, free[j]) = place(free[j], detail::folded(drawn.point(i, j)));
                }
            }
            search.evaluate(x, merits);
            std::iota(order.begin(), order.end(), std::size_t{0});
            std::ranges::sort(order, [&](std::size_t a, std::size_t b) {
                return merits[a].better_than(merits[b]) ||
                       (!merits[b].better_than(merits[a]) && a < b);
            });
            const bool flat = end.note(merits, order);
            const bool sound = drawn.learn(order);
            if (flat) {
                drawn.widen();
            }
            // Wider than the box is no wider: folded, the points are everywhere already.
            drawn.set_step(std::min(drawn.step(), 1 / drawn.longest_axis()));
            why = sound ? end.status(drawn) : OptimiseStatus::ill_conditioned;
            if (why != OptimiseStatus::not_run && run < restarts) {
                why = OptimiseStatus::not_run;
                break;
            }
        }
    }
    return search.result();
}

static_assert(Optimiser<CovarianceAdaptation, double> && Optimiser<CovarianceAdaptation, float>);
static_assert(LimitedOptimiser<CovarianceAdaptation>);

}  // namespace echosieve
