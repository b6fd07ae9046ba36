// What the kernel of the fast path works on.
#pragma once

#include "echosieve/core/detail/scalar.hpp"
#include "kernels/choose.hpp"

namespace echosieve {

namespace detail {
template <Real R>
class LanePursuit;
template <Real R>
struct StopRule;
}  // namespace detail

namespace kernels {

template <class R>
struct LanePursuitTask {
    detail::LanePursuit<R>* pursuit;
    const detail::StopRule<R>* stop;
};

ECHOSIEVE_DECLARE_KERNEL(pursue_float, LanePursuitTask<float>)
ECHOSIEVE_DECLARE_KERNEL(pursue_double, LanePursuitTask<double>)

}  // namespace kernels
}  // namespace echosieve
