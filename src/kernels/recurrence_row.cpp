#include "echosieve/kernels/detail/recurrence_row.hpp"

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "recurrence_row_kernel.hpp"

namespace echosieve {

void add_recurrence(const SampleRecurrence& recurrence, std::span<float> out, InstructionSet set) {
    validate(set);
    const auto& [start, ratio, ratio_ratio] = recurrence;
    for (const double x : {start.real(), start.imag(), ratio.real(), ratio.imag(), ratio_ratio}) {
        require(is_finite(x), "number of a recurrence", x, "must be finite");
    }
    kernels::add_recurrence_of(set)({start.real(), start.imag(), ratio.real(), ratio.imag(),
                                     ratio_ratio, out.data(), out.size()});
}

}  // namespace echosieve
