// What the swarm's kernel works on.
#pragma once

#include <cstddef>
#include <cstdint>

namespace echosieve::kernels {

/// Particles that share one walk over the samples, in every set: else windows, and with them the
/// last bits, would depend on the set.
inline constexpr std::size_t particles_together = 16;
inline constexpr std::size_t most_particles = 1024;

/// Coordinates are those of the unit cube: arrival, rotation, root of the decay. Arrays of
/// particles are `stored` long, a multiple of particles_together: what lies beyond `particles` is
/// of no account. Arrays of several numbers a particle hold all first ones, then all second ones,
/// ...
struct EchoSwarmTask {
    // Samples 0 .. count - 1 and `count` zeros on either side; see echo_swarm.hpp for the weights.
    const float* real;
    const float* imag;
    const float* weights;
    std::int32_t count;

    float arrival, arrival_width;        ///< [samples]
    float rotation, rotation_width;      ///< [rad/sample]
    float root_decay, root_decay_width;  ///< square root of the decay [1/sample]
    float reach;                         ///< of an atom, times the root of its decay
    float far;     ///< largest distance of an arrival from the centre of a walk
    float widest;  ///< arrivals that may share a walk, largest less smallest

    float inertia, own_pull, best_pull;
    std::size_t particles, stored, iterations;
    std::size_t local;  ///< iterations at the start in which neighbours alone tell a particle

    float* x;               ///< where they are
    float* v;               ///< how they move
    float* own;             ///< the best place of each
    float* value;           ///< energy explained at x
    float* most;            ///< energy explained at `own`; -1 beyond the particles, on either side
    float* work;            ///< ten numbers a particle
    std::uint32_t* random;  ///< states of the generators, four numbers a particle
    float* best;            ///< out: the best place of all, and its energy
};

}  // namespace echosieve::kernels
