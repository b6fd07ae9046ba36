#include "echosieve/pursuit/fast_pursuit.hpp"

#include "echosieve/pursuit/compiled.hpp"

namespace echosieve {

ECHOSIEVE_FAST_PURSUIT(template, float)
ECHOSIEVE_FAST_PURSUIT(template, double)

}  // namespace echosieve
