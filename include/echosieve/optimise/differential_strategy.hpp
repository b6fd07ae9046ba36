// From whom a mutant of differential evolution comes.
#pragma once

#include <array>
#include <concepts>
#include <cstddef>

#include "echosieve/core/detail/scalar.hpp"

namespace echosieve {

// Symbols
//   x_i       the individual that the mutant competes with;  x_b  the best of the population
//   x_r1, x_r2, x_r3  others drawn at random, all different from each other and from x_i
//   F         differential weight

/// One coordinate of those that a mutant may be made of.
template <Real R>
struct Donors {
    R current = 0;              ///< x_i
    R best = 0;                 ///< x_b
    std::array<R, 3> others{};  ///< x_r1, x_r2, x_r3: as many as the strategy asks for
};

/// Makes one coordinate of a mutant. `others`, 1 to 3: how many individuals are drawn at random.
template <class S, class R>
concept DifferentialStrategy = Real<R> && S::others >= 1 && S::others <= 3 &&
                               requires(const S& strategy, const Donors<R>& donors, R weight) {
                                   { strategy.mutant(donors, weight) } -> std::same_as<R>;
                               };

/// x_r1 + F (x_r2 - x_r3): "rand/1" (Storn and Price 1997, J. Glob. Optim. 11:341-359). Explores.
struct RandomBase {
    static constexpr std::size_t others = 3;

    template <Real R>
    [[nodiscard]] R mutant(const Donors<R>& donors, R weight) const noexcept {
        return donors.others[0] + weight * (donors.others[1] - donors.others[2]);
    }
};

/// x_b + F (x_r1 - x_r2): "best/1" (Storn and Price 1997). The fastest, and the first to be
/// trapped.
struct BestBase {
    static constexpr std::size_t others = 2;

    template <Real R>
    [[nodiscard]] R mutant(const Donors<R>& donors, R weight) const noexcept {
        return donors.best + weight * (donors.others[0] - donors.others[1]);
    }
};

/// x_i + F (x_b - x_i) + F (x_r1 - x_r2): "current-to-best/1" (Storn and Price 1997, technical
/// report; from memory). Between the two.
struct CurrentToBestBase {
    static constexpr std::size_t others = 2;

    template <Real R>
    [[nodiscard]] R mutant(const Donors<R>& donors, R weight) const noexcept {
        return donors.current + weight * (donors.best - donors.current) +
               weight * (donors.others[0] - donors.others[1]);
    }
};

static_assert(DifferentialStrategy<RandomBase, double> && DifferentialStrategy<BestBase, float> &&
              DifferentialStrategy<CurrentToBestBase, double>);
static_assert(!DifferentialStrategy<RandomBase, int>);

}  // namespace echosieve
