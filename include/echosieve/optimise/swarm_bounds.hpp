// What happens to a particle that flies out of the box.
#pragma once

#include <algorithm>
#include <cmath>
#include <concepts>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

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
};

/// Comes in again on the other side: for angles and phases. x = lower + ((x - lower) mod W); v is
/// kept. Differences between particles are not wrapped: the swarm may go the long way round.
struct PeriodicBounds {
    template <Real R>
    void apply(R& x, R& v, R lower, R upper) const noexcept {
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
};

static_assert(BoundPolicy<AbsorbingBounds, double> && BoundPolicy<BouncingBounds, double> &&
              BoundPolicy<ReflectingBounds, float> && BoundPolicy<PeriodicBounds, double>);
static_assert(!BoundPolicy<int, double>);

}  // namespace echosieve
