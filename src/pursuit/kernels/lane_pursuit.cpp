#include "echosieve/pursuit/detail/lane_pursuit.hpp"

#include "lane_pursuit_task.hpp"

namespace echosieve::detail {

void run_lane_pursuit(LanePursuit<float>& pursuit, const StopRule<float>& stop,
                      InstructionSet set) {
    kernels::pursue_float_of(set)({&pursuit, &stop});
}

void run_lane_pursuit(LanePursuit<double>& pursuit, const StopRule<double>& stop,
                      InstructionSet set) {
    kernels::pursue_double_of(set)({&pursuit, &stop});
}

}  // namespace echosieve::detail
