// The usual pursuits of real samples, for files that link the compiled library.
#include <complex>

#include "echosieve/pursuit/detail/compiled.hpp"

namespace echosieve {

ECHOSIEVE_PURSUE(ECHOSIEVE_SHOWN_TEMPLATE, float)
ECHOSIEVE_PURSUE(ECHOSIEVE_SHOWN_TEMPLATE, double)

}  // namespace echosieve
