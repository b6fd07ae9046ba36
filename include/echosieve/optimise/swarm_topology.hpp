// Who informs whom in a swarm.
#pragma once

#include <algorithm>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <span>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/constraints.hpp"

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
        const std::size_t count = memories.size();
        for (std::size_t i = 0; i < count; ++i) {
            informants[i] = i;
        }
        // Drawn again from the same numbers as long as the links stay.
        RandomStream stream(state.seed, ~std::uint64_t{0} - state.failures);
        for (std::size_t j = 0; j < count; ++j) {
            for (std::size_t k = 0; k < informed; ++k) {
                const std::size_t i = stream.index(count);
                if (memories[j].better_than(memories[informants[i]])) {
                    informants[i] = j;
                }
            }
        }
    }
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
inline void validate(const RandomInformants& topology) {
    require(topology.informed <= most_informed, "informed", topology.informed,
            detail::concatenate("must not exceed ", most_informed));
}

static_assert(SwarmTopology<GlobalBest, double> && SwarmTopology<Ring, float> &&
              SwarmTopology<RandomInformants, double>);
static_assert(!SwarmTopology<int, double> && !SwarmTopology<Ring, int>);

}  // namespace echosieve
