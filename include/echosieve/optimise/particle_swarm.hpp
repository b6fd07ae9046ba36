// Particle swarms, for problems of small dimension with many local optima.
#pragma once

#include <cstddef>
#include <limits>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/epsilon_level.hpp"
#include "echosieve/optimise/detail/swarm_run.hpp"
#include "echosieve/optimise/result.hpp"
#include "echosieve/optimise/swarm_policies.hpp"

namespace echosieve {

// Symbols
//   x, v      position and velocity of a particle
//   p         its best point so far;  l  the best point of its informant
// v <- what the move makes of v, p - x and l - x;   x <- x + v, and back into the box.
// (Kennedy and Eberhart 1995; the moves' sources stand in swarm_policies.hpp.)

/// The swarm moves all particles, then evaluates all, then updates all memories, so its course does
/// not depend on the order of evaluation. Bounds hold for every evaluation; constraints by Deb's
/// rules, equalities eased at first. Particle i draws from stream i of the seed.
template <class Topology = GlobalBest, class Bounds = AbsorbingBounds, class Move = ConstrictedMove>
struct ParticleSwarm {
    std::size_t particles = 50;
    std::size_t iterations = 100;
    double initial_velocity = 0.5;  ///< largest at the start, in widths of the box
    double largest_velocity = 1;    ///< always, in widths of the box
    Move move{};
    Topology topology{};
    Bounds bounds{};
    EpsilonLevel epsilon{};                                    ///< eases equality constraints
    double target = -std::numeric_limits<double>::infinity();  ///< this and the next: see Limits
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();  ///< >= particles

    [[nodiscard]] std::size_t start_evaluations(std::size_t) const noexcept { return particles; }

    /// `start` is empty or a point, clamped to the box, that particle 0 starts from. Throws
    /// InvalidInput for invalid options, a start of another dimension or with a NaN, or a box whose
    /// width is not finite.
    /// Once the workspace has its size, a run allocates the x of its
    /// result and nothing else.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R> && SwarmTopology<Topology, R> &&
             BoundPolicy<Bounds, R> && SwarmMove<Move, R>
    [[nodiscard]] OptimiseResult<R> minimise(const OptimiseTask<F, R, Watch>& task) const {
        return detail::SwarmRun(*this, task).run();
    }
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
template <class Topology, class Bounds, class Move>
void validate(const ParticleSwarm<Topology, Bounds, Move>& swarm) {
    require(swarm.particles >= 1, "particles", swarm.particles, "must be at least 1");
    validate(swarm.move);
    if constexpr (requires { validate(swarm.topology); }) {
        validate(swarm.topology);
    }
    if constexpr (requires { validate(swarm.bounds); }) {
        validate(swarm.bounds);
    }
    validate(swarm.epsilon);
    require(swarm.initial_velocity >= 0 && is_finite(swarm.initial_velocity), "initial_velocity",
            swarm.initial_velocity, "must be zero or more and finite [box widths]");
    require(swarm.largest_velocity > 0 && is_finite(swarm.largest_velocity), "largest_velocity",
            swarm.largest_velocity, "must be positive and finite [box widths]");
    validate(limits_of(swarm), swarm.particles);
}

/// The usual swarm: 50 particles, all informed by the best, stopped by the bounds.
using Swarm = ParticleSwarm<>;
/// The swarm for objectives with many local optima: needs more iterations, and finds more of them.
using RingSwarm = ParticleSwarm<Ring, ReflectingBounds>;
/// Shi and Eberhart's swarm of 1998, whose inertia falls over the iterations.
using InertiaSwarm = ParticleSwarm<GlobalBest, AbsorbingBounds, InertiaMove>;
/// The 2011 standard's move, topology and bounds; that standard has 40 particles.
using StandardSwarm = ParticleSwarm<RandomInformants, BouncingBounds, SphericalMove>;

static_assert(Optimiser<Swarm, double> && Optimiser<Swarm, float> && Optimiser<RingSwarm, double> &&
              Optimiser<InertiaSwarm, double> && Optimiser<StandardSwarm, float>);
static_assert(!Optimiser<int, double> && !Optimiser<Swarm, int>);
static_assert(!Optimiser<ParticleSwarm<GlobalBest, int>, double> &&
              !Optimiser<ParticleSwarm<int, AbsorbingBounds>, double>);

}  // namespace echosieve
