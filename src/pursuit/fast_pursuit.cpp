#include "echosieve/pursuit/fast_pursuit.hpp"

namespace echosieve {

template class FastPursuit<float>;
template class FastPursuit<double>;

}  // namespace echosieve
