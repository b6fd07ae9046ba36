// The memory of a swarm, and the checks of what it is given.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/core/box.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/scalar.hpp"

namespace echosieve {

/// Memory of a swarm, reused from run to run so that a run allocates nothing here once it has its
/// size. One workspace a thread.
template <Real R>
struct SwarmWorkspace {
    std::vector<R> x;  ///< x, v, p: [particles x dimension], a particle's coordinates side by side
    std::vector<R> v;
    std::vector<R> p;
    std::vector<R> best;    ///< value at p
    std::vector<R> values;  ///< value at x
    std::vector<std::size_t> informants;
    std::vector<RandomStream> streams;

    void resize(std::size_t particles, std::size_t dimension) {
        x.resize(particles * dimension);
        v.resize(particles * dimension);
        p.resize(particles * dimension);
        best.resize(particles);
        values.resize(particles);
        informants.resize(particles);
        streams.resize(particles, RandomStream(0));
    }
};

namespace detail {

// The texts are put together only when something is wrong: a run allocates nothing here.
template <Real R>
void check_swarm_input(std::size_t particles, const Box<R>& box, std::span<const R> start) {
    const std::size_t n = box.dimension();
    if (!start.empty() && start.size() != n) {
        require(false, "size of the start point", start.size(),
                concatenate("must be 0 or the dimension, ", n));
    }
    for (std::size_t k = 0; k < n; ++k) {
        if (!is_finite(box.width(k))) {
            require(false, concatenate("width of the box in dimension ", k), box.width(k),
                    "must be finite");
        }
        if (!start.empty() && start[k] != start[k]) {
            require(false, concatenate("start[", k, "]"), start[k], "must be a number");
        }
    }
    const std::size_t most = std::vector<R>().max_size() / n;
    if (particles > most) {
        require(false, "particles", particles, concatenate("must not exceed ", most));
    }
}

}  // namespace detail

}  // namespace echosieve
