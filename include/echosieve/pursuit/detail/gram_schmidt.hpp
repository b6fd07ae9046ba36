// When a column is orthogonal to those before it, and when nothing of it is left: one rule for
// every basis.
#pragma once

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

/// Norm of what is left of a column of norm `before`, 0 if that is rounding. `reduce(pass)` takes
/// the columns before out of it, in pass 0 and, if it must be, 1, and gives the norm that is left.
template <Real R, class Reduce>
[[nodiscard]] R orthogonal_rest(R before, Reduce reduce) {
    R after = reduce(0);
    if (!(after > little_lost<R> * before)) {
        after = reduce(1);
    }
    return after > dependence<R> * before ? after : R{0};
}

/// Solves T b = p for the first `count` amplitudes; `entry(j, k)` is T_jk, its diagonal real.
template <class Entry, class Projections, class Amplitude>
void back_substitute(std::size_t count, Entry entry, const Projections& p, Amplitude* b) {
    for (std::size_t k = count; k-- > 0;) {
        Amplitude sum = p[k];
        for (std::size_t j = k + 1; j < count; ++j) {
            sum -= Amplitude(entry(k, j)) * b[j];
        }
        b[k] = sum / static_cast<echosieve::RealOf<Amplitude>>(std::real(entry(k, k)));
    }
}

}  // namespace echosieve::detail
