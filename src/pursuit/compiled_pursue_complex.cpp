// The usual pursuits of complex samples, for files that link the compiled library.
#include <complex>

#include "echosieve/pursuit/detail/compiled.hpp"

namespace echosieve {

ECHOSIEVE_PURSUE(ECHOSIEVE_SHOWN_TEMPLATE, std::complex<float>)
ECHOSIEVE_PURSUE(ECHOSIEVE_SHOWN_TEMPLATE, std::complex<double>)

}  // namespace echosieve
