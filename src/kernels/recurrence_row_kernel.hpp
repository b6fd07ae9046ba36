// What the kernel of recurrences works on.
#pragma once

#include <cstddef>

#include "choose.hpp"

namespace echosieve::kernels {

/// out[n] += Re g_n, g_n+1 = g_n w_n, w_n+1 = w_n q.
struct RecurrenceTask {
    double start_real, start_imag;
    double ratio_real, ratio_imag;
    double ratio_ratio;
    float* out;
    std::size_t count;
};

ECHOSIEVE_DECLARE_KERNEL(add_recurrence, RecurrenceTask)

}  // namespace echosieve::kernels
