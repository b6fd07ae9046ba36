// The weight and the crossover rate of differential evolution: given, or found on the way.
#pragma once

#include <concepts>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"

namespace echosieve {

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

}  // namespace echosieve
