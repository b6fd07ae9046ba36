// Particle swarms, for problems of small dimension with many local optima.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <type_traits>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/epsilon_level.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/limits.hpp"
#include "echosieve/optimise/swarm_bounds.hpp"
#include "echosieve/optimise/swarm_move.hpp"
#include "echosieve/optimise/swarm_topology.hpp"
#include "echosieve/optimise/workspace.hpp"

namespace echosieve {

// Symbols
//   x, v      position and velocity of a particle
//   p         its best point so far;  l  the best point of its informant
// v <- what the move makes of v, p - x and l - x;   x <- x + v, and back into the box.
// (Kennedy and Eberhart 1995; the moves' sources stand in swarm_move.hpp.)

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
    [[nodiscard]] OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                             std::type_identity_t<std::span<const R>> start,
                                             Watch& observer, Workspace& workspace) const;
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

template <class Topology, class Bounds, class Move>
template <class F, Real R, class Watch>
requires Objective<F, R> && Observer<Watch, R> && SwarmTopology<Topology, R> &&
         BoundPolicy<Bounds, R> && SwarmMove<Move, R>
OptimiseResult<R> ParticleSwarm<Topology, Bounds, Move>::minimise(
    F& objective, const Box<R>& box, std::uint64_t seed,
    std::type_identity_t<std::span<const R>> start, Watch& observer, Workspace& workspace) const {
    validate(*this);
    const std::size_t n = box.dimension();
    detail::check_search_input(box, start);
    detail::check_population<R>("particles", particles, n);
    const Workspace::Scope scope(workspace);
    detail::Search<R, F, Watch> search(objective, box, limits_of(*this), observer, workspace);
    detail::PointTable<R> x(particles, n, workspace);
    detail::PointTable<R> p(particles, n, workspace);
    const std::span<R> v = workspace.take<R>(particles * n);  // [particle][coordinate], box widths
    const std::span<R> own = workspace.take<R>(n);
    const std::span<R> other = workspace.take<R>(n);
    const auto merits = workspace.take<Merit<R>>(particles);
    const auto memories = workspace.take<Merit<R>>(particles);
    const auto informants = workspace.take<std::size_t>(particles);
    const auto streams = workspace.take(particles, RandomStream(seed));

    for (std::size_t i = 0; i < particles; ++i) {
        streams[i] = RandomStream(seed, i);
        for (std::size_t k = 0; k < n; ++k) {
            x(i, k) = streams[i].template uniform<R>(box.lower(k), box.upper(k));
            v[i * n + k] =
                static_cast<R>(initial_velocity) * (2 * streams[i].template uniform<R>() - 1);
        }
    }
    for (std::size_t k = 0; k < start.size(); ++k) {
        x(0, k) = std::clamp(start[k], box.lower(k), box.upper(k));
    }

    SwarmState state{.seed = seed};
    R level = 0;
    const auto evaluate = [&] {
        const Merit<R> before = search.best();
        search.evaluate(x, merits);
        for (std::size_t i = 0; i < particles; ++i) {
            if (eased(merits[i], level).better_than(eased(memories[i], level)) ||
                search.iterations() == 0) {
                memories[i] = merits[i];
                p.copy_point(i, x, i);
            }
        }
        state.failures += search.best().better_than(before) ? 0 : 1;
    };
    const R limit = static_cast<R>(largest_velocity);
    const auto move_particle = [&](std::size_t i) {
        const std::span<R> way = v.subspan(i * n, n);
        for (std::size_t k = 0; k < n; ++k) {
            // A division each: the inverse of a tiny width would overflow.
            const R width = box.width(k) > 0 ? box.width(k) : R{1};
            own[k] = (p(i, k) - x(i, k)) / width;
            other[k] = (p(informants[i], k) - x(i, k)) / width;
        }
        move.apply(ParticleView<R>{way, own, other, informants[i] == i, search.progress()},
                   streams[i]);
        for (std::size_t k = 0; k < n; ++k) {
            way[k] = std::clamp(way[k], -limit, limit);
            R to = x(i, k) + way[k] * box.width(k);
            bounds.apply(to, way[k], box.lower(k), box.upper(k));
            x(i, k) = to;
        }
    };

    evaluate();
    const bool has_equalities = detail::has_equalities<R>(objective);
    const R first_level = has_equalities ? epsilon.first(std::span<const Merit<R>>(memories),
                                                         workspace.take<R>(particles))
                                         : R{0};
    const auto shown = workspace.take<Merit<R>>(has_equalities ? particles : 0);
    while (search.goes_on(particles)) {
        level = epsilon.at(search.progress(), first_level);
        for (std::size_t i = 0; i < shown.size(); ++i) {
            shown[i] = eased(memories[i], level);
        }
        topology.inform(std::span<const Merit<R>>(has_equalities ? shown : memories), informants,
                        state);
        for (std::size_t i = 0; i < particles; ++i) {
            move_particle(i);
        }
        evaluate();
    }
    return search.result();
}

static_assert(Optimiser<Swarm, double> && Optimiser<Swarm, float> && Optimiser<RingSwarm, double> &&
              Optimiser<InertiaSwarm, double> && Optimiser<StandardSwarm, float>);
static_assert(!Optimiser<int, double> && !Optimiser<Swarm, int>);
static_assert(!Optimiser<ParticleSwarm<GlobalBest, int>, double> &&
              !Optimiser<ParticleSwarm<int, AbsorbingBounds>, double>);

}  // namespace echosieve
