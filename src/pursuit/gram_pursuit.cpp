#include "echosieve/pursuit/gram_pursuit.hpp"

#include "echosieve/pursuit/compiled.hpp"

namespace echosieve {

ECHOSIEVE_GRAM_PURSUIT(template, float)
ECHOSIEVE_GRAM_PURSUIT(template, double)

}  // namespace echosieve
