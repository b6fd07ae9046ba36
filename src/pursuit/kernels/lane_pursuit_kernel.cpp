// The fast path in the lanes of an instruction set.
//
// Its bodies are templates over the lanes, and so called by the set's architecture. What they use
// of std's (elements of vectors, complex numbers) is inlined: the test of the objects' symbols sees
// to that. Sums over samples lie in lanes, products are fused where the set can: each set rounds in
// its own way.
#include "echosieve/pursuit/detail/lane_pursuit.hpp"
#include "kernels/vectors.hpp"
#include "lane_pursuit_task.hpp"

namespace echosieve::kernels {
namespace ECHOSIEVE_KERNEL_SET {

void pursue_float(const LanePursuitTask<float>& task) noexcept {
    task.pursuit->run<Lanes<float, Architecture>>(*task.stop);
}

void pursue_double(const LanePursuitTask<double>& task) noexcept {
    task.pursuit->run<Lanes<double, Architecture>>(*task.stop);
}

}  // namespace ECHOSIEVE_KERNEL_SET
}  // namespace echosieve::kernels
