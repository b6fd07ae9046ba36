// Differential evolution, for problems of small dimension with many local optima: from whom a
// mutant comes, by which weight and crossover rate, and the method.
#pragma once

#include <array>
#include <concepts>
#include <cstddef>
#include <limits>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/differential_run.hpp"
#include "echosieve/optimise/detail/epsilon_level.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

// Symbols
//   x_i       the individual that the mutant competes with;  x_b  the best of the population
//   x_r1, x_r2, x_r3  others drawn at random, all different from each other and from x_i
//   F         differential weight

/// One coordinate of those that a mutant may be made of.
template <Real R>
struct Donors {
    R current = 0;              ///< x_i
    R best = 0;                 ///< x_b
    std::array<R, 3> others{};  ///< x_r1, x_r2, x_r3: as many as the strategy asks for
};

/// Makes one coordinate of a mutant. `others`, 1 to 3: how many individuals are drawn at random.
template <class S, class R>
concept DifferentialStrategy = Real<R> && S::others >= 1 && S::others <= 3 &&
                               requires(const S& strategy, const Donors<R>& donors, R weight) {
                                   { strategy.mutant(donors, weight) } -> std::same_as<R>;
                               };

/// x_r1 + F (x_r2 - x_r3): "rand/1" (Storn and Price 1997, J. Glob. Optim. 11:341-359). Explores.
struct RandomBase {
    static constexpr std::size_t others = 3;

    template <Real R>
    [[nodiscard]] R mutant(const Donors<R>& donors, R weight) const noexcept {
        return donors.others[0] + weight * (donors.others[1] - donors.others[2]);
    }
};

/// x_b + F (x_r1 - x_r2): "best/1" (Storn and Price 1997). The fastest, and the first to be
/// trapped.
struct BestBase {
    static constexpr std::size_t others = 2;

    template <Real R>
    [[nodiscard]] R mutant(const Donors<R>& donors, R weight) const noexcept {
        return donors.best + weight * (donors.others[0] - donors.others[1]);
    }
};

/// x_i + F (x_b - x_i) + F (x_r1 - x_r2): "current-to-best/1" (Storn and Price 1997, technical
/// report; from memory). Between the two.
struct CurrentToBestBase {
    static constexpr std::size_t others = 2;

    template <Real R>
    [[nodiscard]] R mutant(const Donors<R>& donors, R weight) const noexcept {
        return donors.current + weight * (donors.best - donors.current) +
               weight * (donors.others[0] - donors.others[1]);
    }
};

static_assert(DifferentialStrategy<RandomBase, double> && DifferentialStrategy<BestBase, float> &&
              DifferentialStrategy<CurrentToBestBase, double>);
static_assert(!DifferentialStrategy<RandomBase, int>);

// Symbols
//   F         differential weight: factor of the difference of two individuals
//   CR        crossover rate: probability by which a coordinate comes from the mutant
//   tau1, tau2  probabilities by which F and CR are drawn anew

/// By what one trial point is made.
struct DifferentialParameters {
    double differential_weight = 0.5;  ///< F
    double crossover_rate = 0.9;       ///< CR
};

/// Gives each trial its parameters, from those that its individual survived with. They are the
/// individual's own from then on if the trial replaces it.
template <class C>
concept DifferentialControl =
    requires(const C& control, const DifferentialParameters& own, RandomStream& stream) {
        { control.first() } -> std::same_as<DifferentialParameters>;
        { control.trial(own, stream) } -> std::same_as<DifferentialParameters>;
        { validate(control) } -> std::same_as<void>;
    };

/// The same for all (Storn and Price 1997, J. Glob. Optim. 11:341-359). F may be drawn anew for
/// each trial, evenly about its value ("dither": Price, Storn and Lampinen 2005, Differential
/// evolution; from memory): then a population of few different points does not run out of steps.
struct SharedParameters {
    double differential_weight = 0.65;  ///< F, in (0, 2]
    double crossover_rate = 0.7;        ///< CR, in [0, 1]; low for separable objectives
    double weight_dither = 0.25;        ///< to either side of F, in [0, F); 0: F is fixed

    [[nodiscard]] DifferentialParameters first() const noexcept {
        return {differential_weight, crossover_rate};
    }
    [[nodiscard]] DifferentialParameters trial(const DifferentialParameters&,
                                               RandomStream& stream) const noexcept {
        DifferentialParameters made = first();
        if (weight_dither > 0) {
            made.differential_weight += weight_dither * (2 * stream.uniform() - 1);
        }
        return made;
    }
};

/// Each individual has its own F and CR, which now and then are drawn anew, and which survive with
/// the points that they made: "jDE" (Brest, Greiner, Boskovic, Mernik and Zumer 2006, IEEE Trans.
/// Evol. Comput. 10:646-657; constants from memory).
struct SelfAdaptingParameters {
    double differential_weight = 0.5;  ///< F of all at the start, in [smallest, largest weight]
    double crossover_rate = 0.9;       ///< CR of all at the start, in [0, 1]
    double smallest_weight = 0.1;      ///< F is drawn from [smallest, largest), in (0, 2]
    double largest_weight = 1;
    double weight_renewal = 0.1;     ///< tau1, in [0, 1]
    double crossover_renewal = 0.1;  ///< tau2, in [0, 1]; CR is drawn from [0, 1)

    [[nodiscard]] DifferentialParameters first() const noexcept {
        return {differential_weight, crossover_rate};
    }
    [[nodiscard]] DifferentialParameters trial(const DifferentialParameters& own,
                                               RandomStream& stream) const noexcept {
        DifferentialParameters made = own;
        if (stream.uniform() < weight_renewal) {
            made.differential_weight = stream.uniform(smallest_weight, largest_weight);
        }
        if (stream.uniform() < crossover_renewal) {
            made.crossover_rate = stream.uniform();
        }
        return made;
    }
};

namespace detail {

inline void require_weight(const char* name, double weight) {
    require(weight > 0 && weight <= 2, name, weight, "must lie in (0, 2]");
}
inline void require_probability(const char* name, double probability) {
    require(probability >= 0 && probability <= 1, name, probability, "must lie in [0, 1]");
}

}  // namespace detail

/// Throws InvalidInput.
inline void validate(const SharedParameters& control) {
    detail::require_weight("differential_weight", control.differential_weight);
    detail::require_probability("crossover_rate", control.crossover_rate);
    require(control.weight_dither >= 0 && control.weight_dither < control.differential_weight,
            "weight_dither", control.weight_dither, "must lie in [0, differential_weight)");
}
/// Throws InvalidInput.
inline void validate(const SelfAdaptingParameters& control) {
    detail::require_weight("smallest_weight", control.smallest_weight);
    detail::require_weight("largest_weight", control.largest_weight);
    require(control.smallest_weight <= control.largest_weight, "smallest_weight",
            control.smallest_weight, "must not exceed largest_weight");
    require(control.differential_weight >= control.smallest_weight &&
                control.differential_weight <= control.largest_weight,
            "differential_weight", control.differential_weight,
            "must lie in [smallest_weight, largest_weight]");
    detail::require_probability("crossover_rate", control.crossover_rate);
    detail::require_probability("weight_renewal", control.weight_renewal);
    detail::require_probability("crossover_renewal", control.crossover_renewal);
}

static_assert(DifferentialControl<SharedParameters> && DifferentialControl<SelfAdaptingParameters>);
static_assert(!DifferentialControl<DifferentialParameters>);

// Symbols
//   x_i       individual i of the population
//   v         its mutant, see DifferentialStrategy;  u  its trial point
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
    [[nodiscard]] OptimiseResult<R> minimise(const OptimiseTask<F, R, Watch>& task) const {
        return detail::DifferentialRun(*this, task).run();
    }
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

static_assert(Optimiser<DifferentialEvolution, double> && Optimiser<DifferentialEvolution, float> &&
              Optimiser<SelfAdaptingDifferentialEvolution, double> &&
              Optimiser<DifferentialPopulation<BestBase>, float> &&
              LimitedOptimiser<DifferentialEvolution>);
static_assert(!Optimiser<DifferentialPopulation<int>, double> &&
              !Optimiser<DifferentialPopulation<RandomBase, int>, double>);

}  // namespace echosieve
