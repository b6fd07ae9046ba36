// What users' files are told of this library's layout must be true: CMake finds it out beforehand.
#include "echosieve/core/detail/layout.hpp"

#if defined(ECHOSIEVE_FOUND_LAYOUT) && ECHOSIEVE_FOUND_LAYOUT != ECHOSIEVE_LAYOUT
#error \
    "compiled with flags that CMake has not seen: pass them by CMAKE_CXX_FLAGS, or link no echosieve::pursuit"
#endif
