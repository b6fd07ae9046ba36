// When a column is orthogonal to those before it, and when nothing of it is left: one rule for
// every basis.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>

#include "echosieve/core/detail/scalar.hpp"

namespace echosieve::detail {

// Symbols
//   x a column, of norm |x|;  q_j the orthonormal columns before;  y = x - sum_j (q_j^H x) q_j
//   T upper triangle, x_k = sum_{j <= k} T_jk q_j;  p = q^H r;  T b = p gives the amplitudes b
//
// Taking the q_j out once leaves y orthogonal to them to eps |x|, that is to eps |x| / |y| of
// itself. Where |y| > 0.7 |x| nothing was lost; elsewhere a second pass makes it good, and a third
// is never needed (Daniel, Gragg, Kaufman and Stewart 1976; Giraud and others 2005). The rule looks
// at norms, not at energies: the rounding of y is of the order of eps |x|, so that what is left
// of x is known to 1 / 10^4 where |y| = 10^4 eps |x|, in float at a thousandth of x, in double at
// 2e-12. A limit of 10^4 eps on the energy instead would call columns dependent whose correlation
// in float is 0.9994, which are two atoms to anybody.

/// Below this part of its own norm, what a column adds to those before it is rounding.
template <Real R>
inline constexpr R dependence = 1e4 * std::numeric_limits<R>::epsilon();

/// Above this part nothing was lost by cancellation, and one pass is enough.
template <Real R>
inline constexpr R little_lost = static_cast<R>(0.7);

/// What a pass made of a column, in energies.
template <Real R>
struct Reduced {
    R left = 0;
    R taken = 0;  ///< sum |q_j^H x|^2
};

/// Norm of what is left of a column, 0 if that is rounding. `reduce(pass)` takes the columns before
/// out of it, in pass 0 and, if it must be, 1.
template <Real R, class Reduce>
[[nodiscard]] inline R orthogonal_rest(Reduce reduce) {
    const Reduced<R> first = reduce(0);
    const R before = first.left + first.taken;  // Pythagoras: no pass for |x|^2
    R left = first.left;
    if (!(left > little_lost<R> * little_lost<R> * before)) {
        left = reduce(1).left;
    }
    return left > dependence<R> * dependence<R> * before ? std::sqrt(left) : R{0};
}

/// Solves T b = p for the first `count` amplitudes; `entry(j, k)` is T_jk, its diagonal real. By
/// columns, whose subtractions don't wait for each other.
template <class Entry, class Projections, class Amplitude>
inline void back_substitute(std::size_t count, Entry entry, const Projections& p, Amplitude* b) {
    std::copy_n(p, count, b);
    for (std::size_t k = count; k-- > 0;) {
        b[k] /= static_cast<echosieve::RealOf<Amplitude>>(std::real(entry(k, k)));
        for (std::size_t j = 0; j < k; ++j) {
            b[j] -= Amplitude(entry(j, k)) * b[k];
        }
    }
}

}  // namespace echosieve::detail
