// Decompositions in one call.
#pragma once

#include <cstdint>
#include <span>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/detail/signal.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/dictionary/matrix_dictionary.hpp"
#include "echosieve/pursuit/echo_source.hpp"
#include "echosieve/pursuit/engine.hpp"
#include "echosieve/pursuit/refine.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve {

/// What a pursuit of Gabor echoes gives.
template <Real R>
using EchoPursuit = PursuitResult<Echo<Gabor<R>>, R>;

/// Takes a signal apart into Gabor echoes of the box. `refinement` is NoRefinement, GaussNewton or
/// any optimiser (Swarm{.particles = 50}, or your own); the seed serves those that draw random
/// numbers. Throws InvalidInput for an invalid signal, box or option. For many frames of one size
/// use EchoSource and PursuitEngine themselves, which keep their memory.
template <Sample T, PursuitStrategy Strategy, Refinement Refine = GaussNewton>
[[nodiscard]] EchoPursuit<RealOf<T>> pursue(const Signal<T>& signal, const GaborBox& box,
                                            const Strategy& strategy, const Refine& refinement = {},
                                            std::uint64_t seed = 0, const Stop& stop = {}) {
    validate(signal);
    EchoSource<T, Refine> source(signal.grid, box, refinement, seed);
    PursuitEngine<EchoSource<T, Refine>> engine;
    EchoPursuit<RealOf<T>> result;
    engine.run(signal.samples, source, strategy, stop, result);
    return result;
}

/// Takes a signal apart into columns of a matrix dictionary.
template <Sample T, PursuitStrategy Strategy>
[[nodiscard]] PursuitResult<MatrixTerm<T>, RealOf<T>> pursue(std::span<const T> signal,
                                                             MatrixDictionary<T>& dictionary,
                                                             const Strategy& strategy,
                                                             const Stop& stop = {}) {
    PursuitEngine<MatrixDictionary<T>> engine;
    PursuitResult<MatrixTerm<T>, RealOf<T>> result;
    engine.run(signal, dictionary, strategy, stop, result);
    return result;
}

}  // namespace echosieve
