// Particle swarm with constriction, for box-bounded problems of small dimension.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/core/box.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/scalar.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/result.hpp"
#include "echosieve/optimise/swarm_bounds.hpp"
#include "echosieve/optimise/swarm_topology.hpp"

namespace echosieve {

// Symbols
//   x, v  position and velocity of a particle;  p its best point;  g the best point of its
//   informant phi = c1 + c2 > 4;  chi = 2 kappa / |2 - phi - sqrt(phi^2 - 4 phi)|, kappa in (0, 1]
//   v <- chi (v + c1 r1 (p - x) + c2 r2 (g - x));   x <- x + v;   r uniform in [0, 1), one for each
//   coordinate
// (Clerc and Kennedy 2002, IEEE Trans. Evol. Comput. 6:58-73.)

/// chi of Clerc and Kennedy 2002; 0.72984... for phi = 4.1. Throws InvalidInput unless phi > 4, 0 <
/// kappa <= 1.
[[nodiscard]] inline double constriction(double phi, double kappa = 1) {
    require(phi > 4 && is_finite(phi), "phi", phi, "must exceed 4 and be finite");
    require(kappa > 0 && kappa <= 1, "kappa", kappa, "must lie in (0, 1]");
    return 2 * kappa / std::abs(2 - phi - std::sqrt(phi * phi - 4 * phi));
}

/// Memory of a swarm, reused from run to run so that a run allocates nothing once it has its size.
template <Real R>
struct SwarmWorkspace {
    std::vector<R> x;  ///< [particles x dimension], all three
    std::vector<R> v;
    std::vector<R> p;
    std::vector<R> best;    ///< value at p
    std::vector<R> values;  ///< value at x
    std::vector<std::size_t> informants;
    std::vector<RandomStream> streams;

    void resize(std::size_t particles, std::size_t dimension) {
        x.resize(particles * dimension);
        v.resize(particles * dimension);
        p.resize(particles * dimension);
        best.resize(particles);
        values.resize(particles);
        informants.resize(particles);
        streams.resize(particles, RandomStream(0));
    }
};

/// The swarm moves all particles, then evaluates all, then updates all memories, so its course does
/// not depend on the order of evaluation. Bounds hold for every evaluation. Particle i draws from
/// stream i of the seed.
template <class Topology = GlobalBest, class Bounds = AbsorbingBounds>
struct ParticleSwarm {
    std::size_t particles = 50;
    std::size_t iterations = 100;
    double cognition = 2.05;  ///< c1, pull to the particle's own best point
    double social = 2.05;     ///< c2, pull to its informant's best point
    double kappa = 1;
    double initial_velocity = 0.5;  ///< largest at the start, in widths of the box
    double largest_velocity = 1;    ///< always, in widths of the box
    double target = -std::numeric_limits<double>::infinity();  ///< ends when value <= target
    double tolerance = 0;                                      ///< see stagnation_iterations
    std::size_t stagnation_iterations =
        0;  ///< ends when value fell by <= tolerance over so many; 0: never
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();
    Topology topology{};
    Bounds bounds{};

    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R> && SwarmTopology<Topology, R> &&
             BoundPolicy<Bounds, R>
    [[nodiscard]] OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                             std::span<const R> start, Watch& observer) const {
        SwarmWorkspace<R> workspace;
        return minimise(objective, box, seed, start, observer, workspace);
    }

    /// The same in the caller's workspace; one workspace a thread.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R> && SwarmTopology<Topology, R> &&
             BoundPolicy<Bounds, R>
    [[nodiscard]] OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                             std::span<const R> start, Watch& observer,
                                             SwarmWorkspace<R>& workspace) const;
};

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
    require(swarm.max_evaluations >= swarm.particles, "max_evaluations", swarm.max_evaluations,
            detail::concatenate("must allow one evaluation a particle, ", swarm.particles));
}

/// The usual swarm: 50 particles, all informed by the best, stopped by the bounds.
using Swarm = ParticleSwarm<>;
/// The swarm for objectives with many local optima.
using RingSwarm = ParticleSwarm<Ring, ReflectingBounds>;

template <class Topology, class Bounds>
template <class F, Real R, class Watch>
requires Objective<F, R> && Observer<Watch, R> && SwarmTopology<Topology, R> &&
         BoundPolicy<Bounds, R>
OptimiseResult<R> ParticleSwarm<Topology, Bounds>::minimise(F& objective, const Box<R>& box,
                                                            std::uint64_t seed,
                                                            std::span<const R> start,
                                                            Watch& observer,
                                                            SwarmWorkspace<R>& w) const {
    validate(*this);
    const std::size_t n = box.dimension();
    require(start.empty() || start.size() == n, "size of the start point", start.size(),
            detail::concatenate("must be 0 or the dimension, ", n));
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
            require(start[k] == start[k], detail::concatenate("start[", k, "]"), start[k],
                    "must be a number");
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
        for (std::size_t i = 0; i < particles; ++i) {
            w.informants[i] = topology.informant(std::span<const R>(w.best), i);
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
        return result;
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
static_assert(!Optimiser<int, double>);

}  // namespace echosieve
