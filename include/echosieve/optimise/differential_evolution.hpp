// Differential evolution, for problems of small dimension with many local optima.
#pragma once

#include <algorithm>
#include <array>
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
#include "echosieve/optimise/detail/epsilon_level.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/differential_control.hpp"
#include "echosieve/optimise/differential_strategy.hpp"
#include "echosieve/optimise/limits.hpp"
#include "echosieve/optimise/workspace.hpp"

namespace echosieve {

// Symbols
//   x_i       individual i of the population
//   v         its mutant, see differential_strategy.hpp;  u  its trial point
// u_k = v_k with probability CR, and in one coordinate drawn once a trial; x_ik in the others
// (binomial crossover). A v_k outside the box becomes the middle between x_ik and the bound that it
// crossed (Zielinski and Laur 2006, CEC). u replaces x_i unless x_i is better. (Storn and Price
// 1997, J. Glob. Optim. 11:341-359.)

/// Makes the trial points of all individuals, then evaluates all, then selects, so its course does
/// not depend on the order of evaluation. Bounds hold for every evaluation; constraints by Deb's
/// rules, equalities eased at first. Individual i draws from stream i of the seed.
template <class Strategy = RandomBase, class Parameters = SharedParameters>
struct DifferentialPopulation {
    std::size_t population = 50;  ///< NP, more than the strategy draws at random
    std::size_t iterations = 400;
    Strategy strategy{};
    Parameters parameters{};
    EpsilonLevel epsilon{};                                    ///< eases equality constraints
    double target = -std::numeric_limits<double>::infinity();  ///< this and the next: see Limits
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();  ///< >= population

    [[nodiscard]] std::size_t start_evaluations(std::size_t) const noexcept { return population; }

    /// `start` is empty or a point, clamped to the box, that individual 0 starts from. Throws
    /// InvalidInput for invalid options, a start of another dimension or with a NaN, or a box whose
    /// width is not finite.
    /// Once the workspace has its size, a run allocates the x of its
    /// result and nothing else.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R> && DifferentialStrategy<Strategy, R> &&
             DifferentialControl<Parameters>
    [[nodiscard]] OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                             std::type_identity_t<std::span<const R>> start,
                                             Watch& observer, Workspace& workspace) const;
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
template <class Strategy, class Parameters>
void validate(const DifferentialPopulation<Strategy, Parameters>& evolution) {
    if (evolution.population <= Strategy::others) {
        require(false, "population", evolution.population,
                detail::concatenate("must exceed ", Strategy::others, ", those drawn at random"));
    }
    validate(evolution.parameters);
    validate(evolution.epsilon);
    validate(limits_of(evolution), evolution.population);
}

/// The usual one: "DE/rand/1/bin".
using DifferentialEvolution = DifferentialPopulation<>;
/// "DE/best/1/bin": for smooth objectives, where it takes half to a quarter of the evaluations
/// (fits of one to six echoes); on objectives made to mislead it ends in the wrong minimum more
/// often.
using GreedyDifferentialEvolution = DifferentialPopulation<BestBase>;
/// Finds F and CR by itself: "jDE".
using SelfAdaptingDifferentialEvolution =
    DifferentialPopulation<RandomBase, SelfAdaptingParameters>;

namespace detail {

// Draws different indices below count, none of them i: each from those that are left.
template <std::size_t N>
std::array<std::size_t, N> random_others(RandomStream& stream, std::size_t i, std::size_t count) {
    std::array<std::size_t, N> drawn{};
    std::array<std::size_t, N + 1> taken{i};  // rising
    for (std::size_t k = 0; k < N; ++k) {
        std::size_t index = stream.index(count - 1 - k);
        std::size_t place = 0;
        for (; place <= k && taken[place] <= index; ++place) {
            ++index;
        }
        std::copy_backward(taken.begin() + static_cast<std::ptrdiff_t>(place),
                           taken.begin() + static_cast<std::ptrdiff_t>(k + 1),
                           taken.begin() + static_cast<std::ptrdiff_t>(k + 2));
        taken[place] = index;
        drawn[k] = index;
    }
    return drawn;
}

// Back into the box, half way from x to the bound that was crossed; a NaN crossed the lower one.
template <Real R>
[[nodiscard]] R midpoint_repair(R mutant, R x, R lower, R upper) noexcept {
    if (mutant >= lower && mutant <= upper) {
        return mutant;
    }
    return std::midpoint(x, mutant > upper ? upper : lower);
}

}  // namespace detail

template <class Strategy, class Parameters>
template <class F, Real R, class Watch>
requires Objective<F, R> && Observer<Watch, R> && DifferentialStrategy<Strategy, R> &&
         DifferentialControl<Parameters>
OptimiseResult<R> DifferentialPopulation<Strategy, Parameters>::minimise(
    F& objective, const Box<R>& box, std::uint64_t seed,
    std::type_identity_t<std::span<const R>> start, Watch& observer, Workspace& workspace) const {
    validate(*this);
    const std::size_t n = box.dimension();
    detail::check_search_input(box, start);
    detail::check_population<R>("population", population, n);
    const Workspace::Scope scope(workspace);
    detail::Search<R, F, Watch> search(objective, box, limits_of(*this), observer, workspace);
    detail::PointTable<R> x(population, n, workspace);
    detail::PointTable<R> u(population, n, workspace);
    const auto merits = workspace.take<Merit<R>>(population);
    const auto trials = workspace.take<Merit<R>>(population);
    const auto own = workspace.take(population, parameters.first());
    const auto tried = workspace.take(population, parameters.first());
    const auto streams = workspace.take(population, RandomStream(seed));
    // Coordinates of no width never change: a trial that differs in nothing else tries nothing.
    std::span<std::size_t> free = workspace.take<std::size_t>(n);
    std::size_t free_count = 0;
    for (std::size_t k = 0; k < n; ++k) {
        if (box.width(k) > 0) {
            free[free_count++] = k;
        }
    }
    free = free.first(free_count);

    for (std::size_t i = 0; i < population; ++i) {
        streams[i] = RandomStream(seed, i);
        for (std::size_t k = 0; k < n; ++k) {
            x(i, k) = streams[i].template uniform<R>(box.lower(k), box.upper(k));
        }
    }
    for (std::size_t k = 0; k < start.size(); ++k) {
        x(0, k) = std::clamp(start[k], box.lower(k), box.upper(k));
    }

    std::size_t best = 0;
    const auto make_trial = [&](std::size_t i) {
        RandomStream& stream = streams[i];
        tried[i] = parameters.trial(own[i], stream);
        const auto others = detail::random_others<Strategy::others>(stream, i, population);
        const R weight = static_cast<R>(tried[i].differential_weight);
        u.copy_point(i, x, i);
        if (free.empty()) {
            return;
        }
        const std::size_t certain = free[stream.index(free.size())];
        for (const std::size_t k : free) {
            if (k != certain && !(stream.uniform() < tried[i].crossover_rate)) {
                continue;
            }
            Donors<R> donors{x(i, k), x(best, k), {}};
            for (std::size_t j = 0; j < Strategy::others; ++j) {
                donors.others[j] = x(others[j], k);
            }
            u(i, k) = detail::midpoint_repair(strategy.mutant(donors, weight), x(i, k),
                                              box.lower(k), box.upper(k));
        }
    };
    R level = 0;
    const auto better = [&](const Merit<R>& a, const Merit<R>& b) {
        return eased(a, level).better_than(eased(b, level));
    };
    const auto find_best = [&] {
        for (std::size_t i = 0; i < population; ++i) {
            best = better(merits[i], merits[best]) ? i : best;
        }
    };

    search.evaluate(x, merits);
    const R first_level =
        detail::has_equalities<R>(objective)
            ? epsilon.first(std::span<const Merit<R>>(merits), workspace.take<R>(population))
            : R{0};
    while (search.goes_on(population)) {
        level = epsilon.at(search.progress(), first_level);
        find_best();
        for (std::size_t i = 0; i < population; ++i) {
            make_trial(i);
        }
        search.evaluate(u, trials);
        for (std::size_t i = 0; i < population; ++i) {
            if (!better(merits[i], trials[i])) {
                merits[i] = trials[i];
                own[i] = tried[i];
                x.copy_point(i, u, i);
            }
        }
    }
    return search.result();
}

static_assert(Optimiser<DifferentialEvolution, double> && Optimiser<DifferentialEvolution, float> &&
              Optimiser<SelfAdaptingDifferentialEvolution, double> &&
              Optimiser<DifferentialPopulation<BestBase>, float> &&
              LimitedOptimiser<DifferentialEvolution>);
static_assert(!Optimiser<DifferentialPopulation<int>, double> &&
              !Optimiser<DifferentialPopulation<RandomBase, int>, double>);

}  // namespace echosieve
