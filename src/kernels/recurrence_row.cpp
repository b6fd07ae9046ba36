#include "echosieve/kernels/recurrence_row.hpp"

#include "recurrence_row_kernel.hpp"

namespace echosieve {

void add_recurrence(const SampleRecurrence& recurrence, std::span<float> out, InstructionSet set) {
    validate(set);
    kernels::add_recurrence_of(set)({recurrence.start.real(), recurrence.start.imag(),
                                     recurrence.ratio.real(), recurrence.ratio.imag(),
                                     recurrence.ratio_ratio, out.data(), out.size()});
}

}  // namespace echosieve
