// The loop that all pursuits run: atom after atom, until the stop says so.
#pragma once

#include <algorithm>
#include <cstddef>
#include <limits>
#include <optional>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve::detail {

/// A stop in numbers, for one signal.
template <Real R>
struct StopRule {
    std::size_t atoms = 0;  ///< at most
    R whole = 0;            ///< the signal's energy
    R small = 0;            ///< a residual of no more energy ends it
    double least = 0;       ///< an atom that captures less is what noise alone would give
};

/// The rule for a signal of samples T and energy `whole`, whose best atom in noise reaches the
/// `threshold` on T = energy over the variance of one real component.
template <Sample T, Real R>
[[nodiscard]] StopRule<R> stop_rule(const Stop& stop, std::size_t atoms, R whole,
                                    double threshold) noexcept {
    // What taking atoms out leaves of a signal that is nothing but them: some 8 eps of its norm.
    // Multiplied out first: 64 times the energy of a loud signal overflows float.
    constexpr double eps = std::numeric_limits<echosieve::RealOf<T>>::epsilon();
    const R part = std::max(static_cast<R>(64 * eps * eps), static_cast<R>(stop.residual_fraction));
    const double least =
        stop.false_alarm ? threshold * stop.false_alarm->noise_variance / (is_complex<T> ? 2 : 1)
                         : 0;
    return {atoms, whole, part * whole, least};
}

/// Runs it. `next(n)` finds atom number n for basis.residual(), hands it to the basis and gives the
/// energy that it would capture there, or nothing if there is none, or it adds but rounding.
/// `basis.take()` takes it out of the residual, whose energy it gives to `keep(energy)`.
template <Real R, class Basis, class Next, class Keep>
[[nodiscard]] PursuitStatus choose_atoms(const StopRule<R>& stop, Basis& basis, Next next,
                                         Keep keep) {
    R energy = stop.whole;
    for (std::size_t n = 0; n < stop.atoms; ++n) {
        if (energy <= stop.small) {
            return PursuitStatus::residual_small;
        }
        const std::optional<R> captured = next(n);
        if (!captured) {
            return PursuitStatus::exhausted;
        }
        if (static_cast<double>(*captured) < stop.least) {
            return PursuitStatus::not_significant;
        }
        if (!(*captured > 0)) {
            return PursuitStatus::exhausted;
        }
        energy = basis.take();
        keep(energy);
    }
    return PursuitStatus::atom_count;
}

}  // namespace echosieve::detail
