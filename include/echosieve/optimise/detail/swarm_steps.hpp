// How particles are moved, brought back into the box, and informed: the bodies of a swarm's
// policies.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/objective.hpp"

namespace echosieve::detail {

// Symbols: those of swarm_policies.hpp. Particle is a ParticleView.

// v <- w v + c1 r1 (p - x) + c2 r2 (l - x)
template <class Particle, Real R>
void pull_particle(const Particle& particle, RandomStream& stream, R w, R c1, R c2) {
    for (std::size_t k = 0; k < particle.velocity.size(); ++k) {
        const R own = c1 * stream.uniform<R>() * particle.own[k];
        const R other = c2 * stream.uniform<R>() * particle.informant[k];
        particle.velocity[k] = w * particle.velocity[k] + own + other;
    }
}

// To a point at random in the sphere of SphericalMove.
template <class Particle, Real R>
void move_in_sphere(const Particle& particle, RandomStream& stream, R w, R c) {
    const std::size_t n = particle.velocity.size();
    const auto centre = [&](std::size_t k) {
        return particle.informs_itself ? c * particle.own[k] / 2
                                       : c * (particle.own[k] + particle.informant[k]) / 3;
    };
    // The direction is drawn twice from the same numbers: once for its length.
    RandomStream again = stream;
    R reach = 0;
    R length = 0;
    for (std::size_t k = 0; k < n; ++k) {
        const R direction = stream.normal<R>();
        length += direction * direction;
        reach += centre(k) * centre(k);
    }
    const R radius = stream.uniform<R>() * std::sqrt(reach);
    const R scale = length > 0 ? radius / std::sqrt(length) : R{0};
    for (std::size_t k = 0; k < n; ++k) {
        particle.velocity[k] = w * particle.velocity[k] + centre(k) + scale * again.normal<R>();
    }
}

// Folds x back into the box, and turns v once.
template <Real R>
void reflect(R& x, R& v, R lower, R upper) noexcept {
    if (x >= lower && x <= upper) {
        return;
    }
    const R width = upper - lower;
    R rest = width > 0 ? std::fmod(x - lower, 2 * width) : R{0};
    rest = rest < 0 ? rest + 2 * width : rest;
    x = std::clamp(lower + width - std::abs(rest - width), lower, upper);
    x = is_finite(x) ? x : lower;
    v = is_finite(v) ? -v : R{0};
}

// Brings x in again on the other side.
template <Real R>
void wrap(R& x, R& v, R lower, R upper) noexcept {
    if (x >= lower && x <= upper) {
        return;
    }
    const R width = upper - lower;
    R rest = width > 0 ? std::fmod(x - lower, width) : R{0};
    rest = rest < 0 ? rest + width : rest;
    x = std::clamp(lower + rest, lower, upper);
    x = is_finite(x) ? x : lower;
    v = is_finite(v) ? v : R{0};
}

// Each follows the best of `reach` neighbours to either side.
template <Real R>
void inform_on_ring(std::span<const Merit<R>> memories, std::span<std::size_t> informants,
                    std::size_t reach) noexcept {
    const std::size_t count = memories.size();
    const std::size_t most = std::min(reach, count / 2);
    for (std::size_t i = 0; i < count; ++i) {
        std::size_t best = i;
        for (std::size_t k = 1; k <= most; ++k) {
            for (const std::size_t j : {(i + k) % count, (i + count - k) % count}) {
                best = memories[j].better_than(memories[best]) ? j : best;
            }
        }
        informants[i] = best;
    }
}

// Each informs itself and `informed` others.
template <Real R>
void inform_at_random(std::span<const Merit<R>> memories, std::span<std::size_t> informants,
                      std::size_t informed, RandomStream& stream) noexcept {
    const std::size_t count = memories.size();
    for (std::size_t i = 0; i < count; ++i) {
        informants[i] = i;
    }
    for (std::size_t j = 0; j < count; ++j) {
        for (std::size_t k = 0; k < informed; ++k) {
            const std::size_t i = stream.index(count);
            if (memories[j].better_than(memories[informants[i]])) {
                informants[i] = j;
            }
        }
    }
}

}  // namespace echosieve::detail
