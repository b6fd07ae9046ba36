// The usual pursuits as the compiled library holds them: files that link it need not compile them.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <cstdint>

#include "echosieve/core/scalar.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "echosieve/pursuit/engine.hpp"
#include "echosieve/pursuit/fast_pursuit.hpp"
#include "echosieve/pursuit/gram_pursuit.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "echosieve/pursuit/refine.hpp"

// Linking echosieve::pursuit defines ECHOSIEVE_COMPILED. With it the templates named here come from
// that library, to the compiler they are declared alone; without it this header does nothing, and
// they are made where they are used. The same bodies either way.

/// `WHAT` (extern template, or template) of pursue(signal, box, ...) for samples of T: greedy and
/// orthogonal, as the grid has it, refined by Gauss and Newton or by the swarm.
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

#ifdef ECHOSIEVE_COMPILED
namespace echosieve {

ECHOSIEVE_PURSUE(extern template, float)
ECHOSIEVE_PURSUE(extern template, double)
ECHOSIEVE_PURSUE(extern template, std::complex<float>)
ECHOSIEVE_PURSUE(extern template, std::complex<double>)

// A file for wider vectors than the library's lays these out otherwise: it makes its own.
#if EIGEN_MAX_ALIGN_BYTES <= 16
extern template class FastPursuit<float>;
extern template class FastPursuit<double>;
extern template class GramPursuit<float>;
extern template class GramPursuit<double>;
#endif

}  // namespace echosieve
#endif
