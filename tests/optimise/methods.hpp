// Every optimiser of the library, and what all of them are tried on.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <limits>
#include <span>
#include <type_traits>
#include <utility>
#include <vector>

#include "echosieve/core/box.hpp"
#include "echosieve/optimise/augmented_lagrangian.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/covariance_adaptation.hpp"
#include "echosieve/optimise/differential_evolution.hpp"
#include "echosieve/optimise/least_squares.hpp"
#include "echosieve/optimise/levenberg_marquardt.hpp"
#include "echosieve/optimise/nelder_mead.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "echosieve/optimise/quasi_newton.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve::test {

using PeriodicRing = ParticleSwarm<Ring, PeriodicBounds, InertiaMove>;
using ReflectedSwarm = ParticleSwarm<GlobalBest, ReflectingBounds>;
using PeriodicSpheres = ParticleSwarm<GlobalBest, PeriodicBounds, SphericalMove>;
using BouncingRing = ParticleSwarm<Ring, BouncingBounds, SphericalMove>;
using RandomSwarm = ParticleSwarm<RandomInformants, AbsorbingBounds, ConstrictedMove>;
using LagrangianMethod = AugmentedLagrangian<>;
using DrawnEvolution = DifferentialPopulation<CurrentToBestBase, SelfAdaptingParameters>;

// For TEST_CASE_TEMPLATE. A new optimiser is one name more in one of these two lists.
//
// Those that draw from the seed wherever they start: every move, topology, bounds, strategy and
// control at least once.
#define ECHOSIEVE_RANDOM_METHODS                                                                  \
    Swarm, RingSwarm, InertiaSwarm, StandardSwarm, PeriodicRing, ReflectedSwarm, PeriodicSpheres, \
        BouncingRing, RandomSwarm, DifferentialEvolution, SelfAdaptingDifferentialEvolution,      \
        GreedyDifferentialEvolution, DrawnEvolution, CovarianceAdaptation
// Those that set out from one point, and draw only where it is of no use.
#define ECHOSIEVE_LOCAL_METHODS LevenbergMarquardt, QuasiNewton, NelderMead, LagrangianMethod
#define ECHOSIEVE_EVERY_METHOD ECHOSIEVE_RANDOM_METHODS, ECHOSIEVE_LOCAL_METHODS

/// A sum of squares, (x_k - centre_k) / unit_k, that keeps books on its calls. It knows its normal
/// equations, so that methods for sums of squares take it as the others do. `change` may replace
/// the value.
template <Real R>
struct Trial {
    explicit Trial(const Box<R>& where) : Trial(where, std::vector<R>(where.dimension(), R{0})) {}
    Trial(const Box<R>& where, std::vector<R> minimiser)
        : box(&where), centre(std::move(minimiser)), unit(where.dimension(), R{1}) {}

    const Box<R>* box;
    std::vector<R> centre;
    std::vector<R> unit;
    std::function<R(std::span<const R> x, R value)> change;
    std::size_t calls = 0;
    std::size_t outside = 0;     ///< points not in the box
    std::size_t non_finite = 0;  ///< values that are none
    std::vector<R> first;        ///< the first point

    [[nodiscard]] R residual(std::span<const R> x, std::size_t k) const {
        return (x[k] - centre[k]) / unit[k];
    }
    /// Without the books, and without `change`.
    [[nodiscard]] R value(std::span<const R> x) const {
        R sum = 0;
        for (std::size_t k = 0; k < x.size(); ++k) {
            sum += residual(x, k) * residual(x, k);
        }
        return sum;
    }
    R operator()(std::span<const R> x) {
        if (++calls == 1) {
            first.assign(x.begin(), x.end());
        }
        outside += box->contains(x) ? 0 : 1;
        const R found = change ? change(x, value(x)) : value(x);
        non_finite += is_finite(found) ? 0 : 1;
        return found;
    }
    R normal_equations(std::span<const R> x, std::span<R> gram, std::span<R> gradient) {
        const std::size_t n = x.size();
        std::ranges::fill(gram, R{0});
        for (std::size_t k = 0; k < n; ++k) {
            gram[k * n + k] = 1 / unit[k] / unit[k];
            gradient[k] = residual(x, k) / unit[k];
        }
        return (*this)(x);
    }
};

/// The same, that also takes many points at once; nobody can tell in which order.
template <Real R>
struct BatchTrial : Trial<R> {
    using Trial<R>::Trial;
    std::size_t batches = 0;

    void evaluate(const Points<R>& points, std::span<R> values) {
        ++batches;
        std::vector<R> x(points.dimension());
        for (std::size_t i = points.size(); i-- > 0;) {
            points.read(i, x);
            values[i] = (*this)(x);
        }
    }
};

/// The same with its gradient.
template <Real R>
struct SlopedTrial : Trial<R> {
    using Trial<R>::Trial;

    R value_and_gradient(std::span<const R> x, std::span<R> gradient) {
        for (std::size_t k = 0; k < x.size(); ++k) {
            gradient[k] = 2 * this->residual(x, k) / this->unit[k];
        }
        return (*this)(x);
    }
};

static_assert(LeastSquaresObjective<Trial<float>, float> &&
              !DifferentiableObjective<Trial<double>, double> &&
              !BatchObjective<Trial<double>, double>);
static_assert(BatchObjective<BatchTrial<double>, double> &&
              DifferentiableObjective<SlopedTrial<float>, float>);

/// An objective for methods that ask for constraints: one that holds everywhere.
template <class F, Real R>
struct Unhindered {
    F& objective;

    R operator()(std::span<const R> x) { return objective(x); }
    void evaluate(const Points<R>& points, std::span<R> values)
    requires BatchObjective<F, R>
    {
        objective.evaluate(points, values);
    }
    R value_and_gradient(std::span<const R> x, std::span<R> gradient)
    requires DifferentiableObjective<F, R>
    {
        return objective.value_and_gradient(x, gradient);
    }
    [[nodiscard]] std::size_t inequalities() const { return 1; }
    [[nodiscard]] std::size_t equalities() const { return 0; }
    [[nodiscard]] R equality_tolerance() const { return 0; }
    void constrain(std::span<const R>, std::span<R> g, std::span<R>) const { g[0] = -1; }
    void constraint_jacobian(std::span<const R>, std::span<R> jacobian, std::span<R>) const {
        std::ranges::fill(jacobian, R{0});
    }
};

template <class O>
inline constexpr bool needs_constraints = false;
template <class Inner>
inline constexpr bool needs_constraints<AugmentedLagrangian<Inner>> = true;

/// A method as it is, but that it takes more than two iterations on a curved bowl.
template <class O>
O patient() {
    O method;
    if constexpr (needs_constraints<O>) {
        method.inner.iterations = 1;
    }
    return method;
}

/// One observer type for all tests: fewer runs to compile.
template <Real R>
using Watch = std::function<Control(const Progress<R>&)>;

/// Runs any method.
template <class O, class F, Real R>
OptimiseResult<R> run(const O& method, F& objective, const Box<R>& box, std::uint64_t seed,
                      const std::type_identity_t<std::vector<R>>& start,
                      std::type_identity_t<Watch<R>> watch, Workspace& workspace) {
    if (!watch) {
        watch = [](const Progress<R>&) { return Control::go_on; };
    }
    if constexpr (needs_constraints<O>) {
        Unhindered<F, R> unhindered{objective};
        return method.minimise(OptimiseTask{unhindered, box, seed, start, watch, workspace});
    } else {
        return method.minimise(OptimiseTask{objective, box, seed, start, watch, workspace});
    }
}

template <class O, class F, Real R>
OptimiseResult<R> run(const O& method, F& objective, const Box<R>& box, std::uint64_t seed = 1,
                      const std::type_identity_t<std::vector<R>>& start = {},
                      std::type_identity_t<Watch<R>> watch = {}) {
    Workspace workspace;
    return run(method, objective, box, seed, start, std::move(watch), workspace);
}

/// Evaluations that a method makes before its first iteration.
template <class O>
std::size_t evaluations_of_the_start(O method, const Box<double>& box) {
    method.iterations = 0;
    Trial<double> bowl(box);
    return run(method, bowl, box).evaluations;
}

}  // namespace echosieve::test
