// Particle swarm with constriction, for box-bounded problems of small dimension.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <type_traits>
#include <utility>
#include <vector>

#include "echosieve/core/box.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/scalar.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/observer.hpp"
#include "echosieve/optimise/result.hpp"
#include "echosieve/optimise/swarm_bounds.hpp"
#include "echosieve/optimise/swarm_topology.hpp"
#include "echosieve/optimise/swarm_workspace.hpp"

namespace echosieve {

// Symbols
//   x, v      position and velocity of a particle
//   p         its best point so far;  g  the best point of its informant
//   phi       c1 + c2 > 4;  kappa in (0, 1]
//   chi       2 kappa / |2 - phi - sqrt(phi^2 - 4 phi)|
//   r1, r2    uniform in [0, 1), drawn anew for each coordinate
// v <- chi (v + c1 r1 (p - x) + c2 r2 (g - x));   x <- x + v
// (Clerc and Kennedy 2002, IEEE Trans. Evol. Comput. 6:58-73; from memory.)

/// chi of Clerc and Kennedy 2002 (equation from memory); 0.72984... for phi = 4.1. Throws
/// InvalidInput unless phi > 4 and finite, 0 < kappa <= 1. Relative error below 1e-15.
[[nodiscard]] inline double constriction(double phi, double kappa = 1) {
    require(phi > 4 && is_finite(phi), "phi", phi, "must exceed 4 and be finite");
    require(kappa > 0 && kappa <= 1, "kappa", kappa, "must lie in (0, 1]");
    // phi (phi - 4), since phi^2 - 4 phi loses its digits near 4.
    return 2 * kappa / (phi - 2 + std::sqrt(phi * (phi - 4)));
}

/// The swarm moves all particles, then evaluates all, then updates all memories, so its course does
/// not depend on the order of evaluation. Bounds hold for every evaluation. Particle i draws from
/// stream i of the seed. The defaults' moves are stable in mean and variance (Poli 2009).
template <class Topology = GlobalBest, class Bounds = AbsorbingBounds>
struct ParticleSwarm {
    std::size_t particles = 50;
    std::size_t iterations = 100;
    double cognition = 2.05;        ///< c1 >= 0, pull to the particle's own best point
    double social = 2.05;           ///< c2 >= 0, pull to its informant's best point; c1 + c2 > 4
    double kappa = 1;               ///< in (0, 1]; less than 1 contracts faster
    double initial_velocity = 0.5;  ///< largest at the start, in widths of the box
    double largest_velocity = 1;    ///< always, in widths of the box
    double target = -std::numeric_limits<double>::infinity();  ///< ends when value <= target
    double tolerance = 0;  ///< [unit of the objective], see stagnation_iterations
    /// Ends when value fell by <= tolerance over so many iterations; 0: never.
    std::size_t stagnation_iterations = 0;
    /// Ends before the iteration that would exceed it; at least `particles`.
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();
    Topology topology{};
    Bounds bounds{};

    /// `start` is empty or a point, clamped to the box, that particle 0 starts from. Throws
    /// InvalidInput for invalid options, a start of another dimension or with a NaN, or a box whose
    /// width is not finite.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R> && SwarmTopology<Topology, R> &&
             BoundPolicy<Bounds, R>
    [[nodiscard]] OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                             std::type_identity_t<std::span<const R>> start,
                                             Watch& observer) const {
        SwarmWorkspace<R> workspace;
        return minimise(objective, box, seed, start, observer, workspace);
    }

    /// The same in the caller's workspace; one workspace a thread. Once that has its size, a run
    /// allocates the x of its result and nothing else.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R> && SwarmTopology<Topology, R> &&
             BoundPolicy<Bounds, R>
    [[nodiscard]] OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                             std::type_identity_t<std::span<const R>> start,
                                             Watch& observer, SwarmWorkspace<R>& workspace) const;
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
template <class Topology, class Bounds>
void validate(const ParticleSwarm<Topology, Bounds>& swarm) {
    require(swarm.particles >= 1, "particles", swarm.particles, "must be at least 1");
    require(swarm.cognition >= 0, "cognition", swarm.cognition, "must be zero or more");
    require(swarm.social >= 0, "social", swarm.social, "must be zero or more");
    static_cast<void>(constriction(swarm.cognition + swarm.social, swarm.kappa));
    require(swarm.initial_velocity >= 0 && is_finite(swarm.initial_velocity), "initial_velocity",
            swarm.initial_velocity, "must be zero or more and finite [box widths]");
    require(swarm.largest_velocity > 0 && is_finite(swarm.largest_velocity), "largest_velocity",
            swarm.largest_velocity, "must be positive and finite [box widths]");
    require(swarm.target == swarm.target, "target", swarm.target, "must be a number");
    require(swarm.tolerance >= 0, "tolerance", swarm.tolerance, "must be zero or more");
    if (swarm.max_evaluations < swarm.particles) {
        require(false, "max_evaluations", swarm.max_evaluations,
                detail::concatenate("must allow one evaluation a particle, ", swarm.particles));
    }
}

/// The usual swarm: 50 particles, all informed by the best, stopped by the bounds.
using Swarm = ParticleSwarm<>;
/// The swarm for objectives with many local optima: needs more iterations, and finds more of them.
using RingSwarm = ParticleSwarm<Ring, ReflectingBounds>;

template <class Topology, class Bounds>
template <class F, Real R, class Watch>
requires Objective<F, R> && Observer<Watch, R> && SwarmTopology<Topology, R> &&
         BoundPolicy<Bounds, R>
OptimiseResult<R> ParticleSwarm<Topology, Bounds>::minimise(
    F& objective, const Box<R>& box, std::uint64_t seed,
    std::type_identity_t<std::span<const R>> start, Watch& observer, SwarmWorkspace<R>& w) const {
    validate(*this);
    const std::size_t n = box.dimension();
    detail::check_swarm_input(particles, box, start);
    constexpr R infinity = std::numeric_limits<R>::infinity();
    w.resize(particles, n);
    OptimiseResult<R> result;
    const auto point = [&](std::vector<R>& all, std::size_t i) {
        return std::span<R>(all).subspan(i * n, n);
    };

    for (std::size_t i = 0; i < particles; ++i) {
        w.streams[i] = RandomStream(seed, i);
        for (std::size_t k = 0; k < n; ++k) {
            const R width = box.width(k);
            const R speed = static_cast<R>(initial_velocity) * width;
            w.x[i * n + k] = w.streams[i].template uniform<R>(box.lower(k), box.upper(k));
            w.v[i * n + k] = speed * (2 * w.streams[i].template uniform<R>() - 1);
        }
    }
    if (!start.empty()) {
        for (std::size_t k = 0; k < n; ++k) {
            w.x[k] = std::clamp(start[k], box.lower(k), box.upper(k));
        }
    }
    w.p = w.x;
    std::fill(w.best.begin(), w.best.end(), infinity);

    std::size_t leader = 0;
    const auto evaluate = [&] {
        for (std::size_t i = 0; i < particles; ++i) {
            const R value = static_cast<R>(objective(std::span<const R>(w.x).subspan(i * n, n)));
            ++result.evaluations;
            result.non_finite += is_finite(value) ? 0 : 1;
            w.values[i] = is_finite(value) ? value : infinity;
        }
        for (std::size_t i = 0; i < particles; ++i) {
            if (w.values[i] < w.best[i]) {
                w.best[i] = w.values[i];
                std::ranges::copy(point(w.x, i), point(w.p, i).begin());
            }
            if (w.best[i] < w.best[leader]) {
                leader = i;
            }
        }
    };
    const R chi = static_cast<R>(constriction(cognition + social, kappa));
    const R c1 = static_cast<R>(cognition);
    const R c2 = static_cast<R>(social);
    const auto move = [&] {
        const std::span<const R> memories(w.best);
        if constexpr (UniformTopology<Topology>) {
            std::fill(w.informants.begin(), w.informants.end(), topology.informant(memories, 0));
        } else {
            for (std::size_t i = 0; i < particles; ++i) {
                w.informants[i] = topology.informant(memories, i);
            }
        }
        for (std::size_t i = 0; i < particles; ++i) {
            for (std::size_t k = 0; k < n; ++k) {
                R& x = w.x[i * n + k];
                R& v = w.v[i * n + k];
                const R own = c1 * w.streams[i].template uniform<R>() * (w.p[i * n + k] - x);
                const R other =
                    c2 * w.streams[i].template uniform<R>() * (w.p[w.informants[i] * n + k] - x);
                const R limit = static_cast<R>(largest_velocity) * box.width(k);
                v = std::clamp(chi * (v + own + other), -limit, limit);
                x += v;
                bounds.apply(x, v, box.lower(k), box.upper(k));
            }
        }
    };
    const auto finish = [&](OptimiseStatus status) {
        result.status = status;
        if (!(w.best[leader] < infinity) && status != OptimiseStatus::aborted) {
            result.status = OptimiseStatus::no_finite_value;
        }
        result.value = w.best[leader];
        const auto best = point(w.p, leader);
        result.x.assign(best.begin(), best.end());
        return std::move(result);
    };

    evaluate();
    R reference = w.best[leader];  // value at the start of the stagnation count
    std::size_t still = 0;
    for (;;) {
        const Control wish =
            observer(Progress<R>{result.iterations, result.evaluations, w.best[leader],
                                 std::span<const R>(w.p).subspan(leader * n, n)});
        if (wish != Control::go_on) {
            return finish(wish == Control::stop ? OptimiseStatus::stopped
                                                : OptimiseStatus::aborted);
        }
        if (static_cast<double>(w.best[leader]) <= target) {
            return finish(OptimiseStatus::target_reached);
        }
        if (result.iterations >= iterations) {
            return finish(OptimiseStatus::iteration_limit);
        }
        if (max_evaluations - result.evaluations < particles) {
            return finish(OptimiseStatus::evaluation_limit);
        }
        if (stagnation_iterations > 0 && still >= stagnation_iterations) {
            return finish(OptimiseStatus::stagnated);
        }
        move();
        evaluate();
        ++result.iterations;
        if (static_cast<double>(reference - w.best[leader]) > tolerance) {
            reference = w.best[leader];
            still = 0;
        } else {
            ++still;
        }
    }
}

static_assert(Optimiser<Swarm, double> && Optimiser<Swarm, float> && Optimiser<RingSwarm, double>);
static_assert(!Optimiser<int, double> && !Optimiser<Swarm, int>);
static_assert(!Optimiser<ParticleSwarm<GlobalBest, int>, double> &&
              !Optimiser<ParticleSwarm<int, AbsorbingBounds>, double>);

}  // namespace echosieve
