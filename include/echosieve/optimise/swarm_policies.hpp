// What a particle swarm is put together from: who informs whom, how a particle moves, and what
// happens where it leaves the box.
#pragma once

#include <algorithm>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <span>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/detail/swarm_steps.hpp"
#include "echosieve/optimise/objective.hpp"

namespace echosieve {

/// What else a topology may go by.
struct SwarmState {
    std::uint64_t seed = 0;
    std::size_t failures = 0;  ///< iterations so far that found no better best point
};

/// Writes, for each particle, the index of the one whose memory it follows: the best among those
/// that inform it, itself included. `memories` are what the particles' best points so far are
/// worth.
template <class T, class R>
concept SwarmTopology =
    Real<R> && requires(const T& topology, std::span<const Merit<R>> memories,
                        std::span<std::size_t> informants, const SwarmState& state) {
        { topology.inform(memories, informants, state) } -> std::same_as<void>;
    };

/// The star: everybody follows the best of all. Fast, and the first to be trapped.
struct GlobalBest {
    template <Real R>
    void inform(std::span<const Merit<R>> memories, std::span<std::size_t> informants,
                const SwarmState&) const noexcept {
        std::size_t best = 0;
        for (std::size_t j = 1; j < memories.size(); ++j) {
            best = memories[j].better_than(memories[best]) ? j : best;
        }
        std::ranges::fill(informants, best);
    }
};

/// Each follows the best of its neighbours on a ring, `reach` to either side: slower, and harder to
/// trap. With reach 0 nobody informs anybody.
struct Ring {
    std::size_t reach = 1;  ///< neighbours to either side; half the swarm or more: everybody

    template <Real R>
    void inform(std::span<const Merit<R>> memories, std::span<std::size_t> informants,
                const SwarmState&) const noexcept {
        detail::inform_on_ring(memories, informants, reach);
    }
};

/// More informants than this of a particle take time and tell nothing more.
inline constexpr std::size_t most_informed = 10'000;

/// Each informs itself and `informed` others drawn with replacement, anew after each iteration that
/// found no better point (Clerc 2012, the adaptive random topology of the 2006 and 2011 standards;
/// from memory).
struct RandomInformants {
    std::size_t informed = 3;  ///< at most most_informed

    template <Real R>
    void inform(std::span<const Merit<R>> memories, std::span<std::size_t> informants,
                const SwarmState& state) const noexcept {
        // Drawn again from the same numbers as long as the links stay.
        RandomStream stream(state.seed, ~std::uint64_t{0} - state.failures);
        detail::inform_at_random(memories, informants, informed, stream);
    }
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
inline void validate(const RandomInformants& topology) {
    require(topology.informed <= most_informed, "informed", topology.informed,
            detail::concatenate("must not exceed ", most_informed));
}

// Symbols
//   x, v      position and velocity of a particle, in box widths
//   p         its best point so far;  l  the best point of its informant
//   w, c1, c2 inertia, pull to p, pull to l;  phi = c1 + c2 of the constricted move
//   r1, r2    uniform in [0, 1), drawn anew for each coordinate

/// chi = 2 kappa / |2 - phi - sqrt(phi^2 - 4 phi)| of Clerc and Kennedy 2002, IEEE Trans. Evol.
/// Comput. 6:58-73 (equation from memory); 0.72984... for phi = 4.1. Throws InvalidInput unless phi
/// > 4 and finite, 0 < kappa <= 1. Relative error below 1e-15.
[[nodiscard]] inline double constriction(double phi, double kappa = 1) {
    require(phi > 4 && is_finite(phi), "phi", phi, "must exceed 4 and be finite");
    require(kappa > 0 && kappa <= 1, "kappa", kappa, "must lie in (0, 1]");
    // phi (phi - 4), since phi^2 - 4 phi loses its digits near 4.
    return 2 * kappa / (phi - 2 + std::sqrt(phi * (phi - 4)));
}

/// One particle's coordinates, in box widths from its own position x: so x itself is 0.
template <Real R>
struct ParticleView {
    std::span<R> velocity;         ///< v, to be replaced by the way to the new position
    std::span<const R> own;        ///< p - x
    std::span<const R> informant;  ///< l - x
    bool informs_itself = false;   ///< l is p
    double progress = 0;           ///< part of the iterations that is over, 0 to 1
};

/// Replaces a particle's velocity; draws from the particle's own stream.
template <class M, class R>
concept SwarmMove =
    Real<R> && requires(const M& move, const ParticleView<R>& particle, RandomStream& stream) {
        { move.apply(particle, stream) } -> std::same_as<void>;
        { validate(move) } -> std::same_as<void>;
    };

/// v <- chi (v + c1 r1 (p - x) + c2 r2 (l - x)) (Clerc and Kennedy 2002). The defaults are stable
/// in mean and variance (Poli 2009).
struct ConstrictedMove {
    double cognition = 2.05;  ///< c1 >= 0, pull to the particle's own best point
    double social = 2.05;     ///< c2 >= 0, pull to its informant's best point; c1 + c2 > 4
    double kappa = 1;         ///< in (0, 1]; less than 1 contracts faster

    template <Real R>
    void apply(const ParticleView<R>& particle, RandomStream& stream) const {
        const double chi = constriction(cognition + social, kappa);
        detail::pull_particle(particle, stream, static_cast<R>(chi),
                              static_cast<R>(chi * cognition), static_cast<R>(chi * social));
    }
};

inline void validate(const ConstrictedMove& move) {
    require(move.cognition >= 0, "cognition", move.cognition, "must be zero or more");
    require(move.social >= 0, "social", move.social, "must be zero or more");
    static_cast<void>(constriction(move.cognition + move.social, move.kappa));
}

/// v <- w v + c1 r1 (p - x) + c2 r2 (l - x), w falling evenly over the iterations (Shi and Eberhart
/// 1998; constants from memory). With w at 0.9 the variance grows: the swarm roams first.
struct InertiaMove {
    double inertia = 0.9;        ///< w at the start, in [0, 1)
    double final_inertia = 0.4;  ///< w that it falls to when the iterations are over, in [0, 1)
    double cognition = 2;        ///< c1 >= 0
    double social = 2;           ///< c2 >= 0

    template <Real R>
    void apply(const ParticleView<R>& particle, RandomStream& stream) const {
        const double w = inertia + (final_inertia - inertia) * particle.progress;
        detail::pull_particle(particle, stream, static_cast<R>(w), static_cast<R>(cognition),
                              static_cast<R>(social));
    }
};

inline void validate(const InertiaMove& move) {
    require(move.inertia >= 0 && move.inertia < 1, "inertia", move.inertia, "must lie in [0, 1)");
    require(move.final_inertia >= 0 && move.final_inertia < 1, "final_inertia", move.final_inertia,
            "must lie in [0, 1)");
    require(move.cognition >= 0 && is_finite(move.cognition), "cognition", move.cognition,
            "must be zero or more and finite");
    require(move.social >= 0 && is_finite(move.social), "social", move.social,
            "must be zero or more and finite");
}

/// The move of the 2011 standard (Clerc 2012, Standard particle swarm optimisation; from memory): a
/// point x' at random in the sphere about G = x + c (p + l - 2 x) / 3 that reaches to x, or G = x +
/// c (p - x) / 2 for a particle that informs itself; v <- w v + x' - x. It has no preferred axes,
/// but for those of the box's widths.
struct SphericalMove {
    double inertia = 1 / (2 * std::numbers::ln2);   ///< w, in [0, 1)
    double acceleration = 0.5 + std::numbers::ln2;  ///< c > 0

    template <Real R>
    void apply(const ParticleView<R>& particle, RandomStream& stream) const {
        detail::move_in_sphere(particle, stream, static_cast<R>(inertia),
                               static_cast<R>(acceleration));
    }
};

inline void validate(const SphericalMove& move) {
    require(move.inertia >= 0 && move.inertia < 1, "inertia", move.inertia, "must lie in [0, 1)");
    require(move.acceleration > 0 && is_finite(move.acceleration), "acceleration",
            move.acceleration, "must be positive and finite");
}

/// Brings one coordinate x back into [lower, upper] and adapts its velocity v. The result lies in
/// the interval for every finite x, and for infinite or NaN x as well (at a bound), since rounding
/// must never let it out.
template <class P, class R>
concept BoundPolicy = Real<R> && requires(const P& policy, R& x, R& v, R lower, R upper) {
    { policy.apply(x, v, lower, upper) } -> std::same_as<void>;
};

/// Stops at the bound: x = the bound, v = 0.
struct AbsorbingBounds {
    template <Real R>
    void apply(R& x, R& v, R lower, R upper) const noexcept {
        if (!(x >= lower)) {
            x = lower;
            v = 0;
        } else if (x > upper) {
            x = upper;
            v = 0;
        }
    }
};

/// Stops at the bound and turns back more slowly: x = the bound, v <- -restitution v (the 2011
/// standard swarm, Clerc 2012; from memory).
struct BouncingBounds {
    double restitution = 0.5;  ///< part of the velocity that is left, 0 to 1

    template <Real R>
    void apply(R& x, R& v, R lower, R upper) const noexcept {
        if (x >= lower && x <= upper) {
            return;
        }
        x = !(x >= lower) ? lower : upper;
        v = is_finite(v) ? -static_cast<R>(restitution) * v : R{0};
    }
};

/// Throws InvalidInput.
inline void validate(const BouncingBounds& bounds) {
    require(bounds.restitution >= 0 && bounds.restitution <= 1, "restitution", bounds.restitution,
            "must lie in [0, 1]");
}

/// Bounces off: x is folded back, as often as needed, and v changes sign once, however often.
/// Fold: lower + W - | ((x - lower) mod 2 W) - W |, W the width.
struct ReflectingBounds {
    template <Real R>
    void apply(R& x, R& v, R lower, R upper) const noexcept {
        detail::reflect(x, v, lower, upper);
    }
};

/// Comes in again on the other side: for angles and phases. x = lower + ((x - lower) mod W); v is
/// kept. Differences between particles are not wrapped: the swarm may go the long way round.
struct PeriodicBounds {
    template <Real R>
    void apply(R& x, R& v, R lower, R upper) const noexcept {
        detail::wrap(x, v, lower, upper);
    }
};

}  // namespace echosieve
