// Who informs whom in a swarm.
#pragma once

#include <algorithm>
#include <concepts>
#include <cstddef>
#include <iterator>
#include <span>

#include "echosieve/core/scalar.hpp"

namespace echosieve {

/// Gives the index of the particle whose memory particle i follows: the best one among those that
/// inform it, itself included. `values` are the particles' best values so far, never NaN.
template <class T, class R>
concept SwarmTopology =
    Real<R> && requires(const T& topology, std::span<const R> values, std::size_t i) {
        { topology.informant(values, i) } -> std::same_as<std::size_t>;
    };

/// A topology may say `static constexpr bool same_for_all = true`: then it is asked once an
/// iteration, for particle 0, instead of once a particle.
template <class T>
concept UniformTopology = requires { requires T::same_for_all; };

/// Everybody follows the best of all: fast, and the first to be trapped.
struct GlobalBest {
    static constexpr bool same_for_all = true;

    template <Real R>
    [[nodiscard]] std::size_t informant(std::span<const R> values, std::size_t) const noexcept {
        return static_cast<std::size_t>(
            std::distance(values.begin(), std::ranges::min_element(values)));
    }
};

/// Each follows the best of its neighbours on a ring, `reach` to either side: slower, and harder to
/// trap. With reach 0 nobody informs anybody.
struct Ring {
    std::size_t reach = 1;  ///< neighbours to either side; half the swarm or more: everybody

    template <Real R>
    [[nodiscard]] std::size_t informant(std::span<const R> values, std::size_t i) const noexcept {
        const std::size_t count = values.size();
        const std::size_t most = std::min(reach, (count - 1) / 2 + (count - 1) % 2);
        std::size_t best = i;
        for (std::size_t k = 1; k <= most; ++k) {
            for (const std::size_t j : {(i + k) % count, (i + count - k) % count}) {
                best = values[j] < values[best] ? j : best;
            }
        }
        return best;
    }
};

static_assert(SwarmTopology<GlobalBest, double> && SwarmTopology<Ring, float>);
static_assert(!SwarmTopology<int, double> && !SwarmTopology<Ring, int>);
static_assert(UniformTopology<GlobalBest> && !UniformTopology<Ring>);

}  // namespace echosieve
