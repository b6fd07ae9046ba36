// The usual pursuits as the compiled library holds them: files that link it need not compile them.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <span>

#include "echosieve/core/detail/layout.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "echosieve/pursuit/echo_source.hpp"
#include "echosieve/pursuit/fast_pursuit.hpp"
#include "echosieve/pursuit/gram_pursuit.hpp"
#include "echosieve/pursuit/pursue.hpp"

// Linking echosieve::pursuit defines ECHOSIEVE_COMPILED, as the ECHOSIEVE_LAYOUT that the library
// was built with. In a file with the same one the templates named here come from that library, to
// the compiler they are declared alone; in any other, one that is compiled for wider vectors, say,
// they are made where they are used. The same bodies either way.

/// What the library makes of a template, and shows: clang wants the attribute here, and spelt so.
#define ECHOSIEVE_SHOWN_TEMPLATE template __attribute__((visibility("default")))

/// `WHAT` (extern template, or ECHOSIEVE_SHOWN_TEMPLATE) of pursue(signal, box, ...) for samples of
/// T: greedy and orthogonal, as the grid has it, refined by Gauss and Newton or by the swarm.
#define ECHOSIEVE_PURSUE_WITH(WHAT, T, STRATEGY, REFINEMENT)                               \
    WHAT EchoPursuit<RealOf<T>> pursue(const Signal<T>&, const GaborBox&, const STRATEGY&, \
                                       const REFINEMENT&, std::uint64_t, const Stop&);
#define ECHOSIEVE_PURSUE(WHAT, T)                            \
    ECHOSIEVE_PURSUE_WITH(WHAT, T, Orthogonal, NoRefinement) \
    ECHOSIEVE_PURSUE_WITH(WHAT, T, Orthogonal, GaussNewton)  \
    ECHOSIEVE_PURSUE_WITH(WHAT, T, Orthogonal, Swarm)        \
    ECHOSIEVE_PURSUE_WITH(WHAT, T, Greedy, NoRefinement)     \
    ECHOSIEVE_PURSUE_WITH(WHAT, T, Greedy, GaussNewton)      \
    ECHOSIEVE_PURSUE_WITH(WHAT, T, Greedy, Swarm)

/// The same of FastPursuit<R>, and of GramPursuit<R>.
#define ECHOSIEVE_FAST_PURSUIT(WHAT, R)                                                        \
    WHAT FastPursuit<R>::FastPursuit(const SamplingGrid&, const GaborBox&, const FastOptions&, \
                                     std::span<const double>);                                 \
    WHAT const FastPursuit<R>::Result& FastPursuit<R>::run(std::span<const std::complex<R>>);
#define ECHOSIEVE_GRAM_PURSUIT(WHAT, R)                                                         \
    WHAT GramPursuit<R>::GramPursuit(GramPursuit<R>::Matrix, std::size_t);                      \
    WHAT void GramPursuit<R>::run(const Eigen::Ref<const GramPursuit<R>::Matrix>&, const Stop&, \
                                  GramPursuitResult<R>&);

#if defined(ECHOSIEVE_COMPILED) && ECHOSIEVE_COMPILED == ECHOSIEVE_LAYOUT
namespace echosieve {

ECHOSIEVE_PURSUE(extern template, float)
ECHOSIEVE_PURSUE(extern template, double)
ECHOSIEVE_PURSUE(extern template, std::complex<float>)
ECHOSIEVE_PURSUE(extern template, std::complex<double>)
ECHOSIEVE_FAST_PURSUIT(extern template, float)
ECHOSIEVE_FAST_PURSUIT(extern template, double)
ECHOSIEVE_GRAM_PURSUIT(extern template, float)
ECHOSIEVE_GRAM_PURSUIT(extern template, double)

}  // namespace echosieve
#endif
