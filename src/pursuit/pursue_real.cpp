// The usual pursuits of real samples, for files that link the compiled library.
#include <complex>

#include "echosieve/pursuit/compiled.hpp"

namespace echosieve {

ECHOSIEVE_PURSUE(template, float)
ECHOSIEVE_PURSUE(template, double)

}  // namespace echosieve
