#include "echosieve/pursuit/gram_pursuit.hpp"

#include "echosieve/pursuit/detail/compiled.hpp"

namespace echosieve {

ECHOSIEVE_GRAM_PURSUIT(ECHOSIEVE_SHOWN_TEMPLATE, float)
ECHOSIEVE_GRAM_PURSUIT(ECHOSIEVE_SHOWN_TEMPLATE, double)

}  // namespace echosieve
