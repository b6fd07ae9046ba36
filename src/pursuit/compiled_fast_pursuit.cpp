#include "echosieve/pursuit/fast_pursuit.hpp"

#include "echosieve/pursuit/detail/compiled.hpp"

namespace echosieve {

ECHOSIEVE_FAST_PURSUIT(ECHOSIEVE_SHOWN_TEMPLATE, float)
ECHOSIEVE_FAST_PURSUIT(ECHOSIEVE_SHOWN_TEMPLATE, double)

}  // namespace echosieve
