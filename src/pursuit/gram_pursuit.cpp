#include "echosieve/pursuit/gram_pursuit.hpp"

namespace echosieve {

template class GramPursuit<float>;
template class GramPursuit<double>;

}  // namespace echosieve
