// Sums over frames of values that turn step by step.
#include "turned_sums_kernel.hpp"

#include "kernels/complex_lanes.hpp"

namespace echosieve::kernels {
namespace {

constexpr std::size_t lanes = Doubles::size;
constexpr std::size_t registers = 4;  // side by side: one turn waits for the one before
constexpr std::size_t group = lanes * registers;

// Frames first to first + group - 1, 0 beyond the last.
ECHOSIEVE_INLINE void load_group(Complex* to, const double* from, std::size_t first,
                                 std::size_t frames) {
    for (std::size_t r = 0; r < registers; ++r, first += lanes) {
        to[r] = gather(from + 2 * first, first < frames ? frames - first : 0);
    }
}

}  // namespace

namespace ECHOSIEVE_KERNEL_SET {

void turn_sums(const TurnedSumTask& task) noexcept {
    for (std::size_t j = 0; j < task.bins; ++j) {
        for (std::size_t k = 0; k < 2 * lanes * task.count; k += lanes) {
            store(Doubles(0.0), task.work + k);
        }
        const double* const values = task.values + 2 * j * task.frames;
        const double* const turns = task.turn + 2 * j * task.frames;
        for (std::size_t i = 0; i < task.frames; i += group) {
            Complex x[registers];
            Complex turn[registers];
            load_group(x, values, i, task.frames);
            load_group(turn, turns, i, task.frames);
            double* to = task.work;
            for (std::size_t k = 0; k < task.count; ++k, to += 2 * lanes) {
                Doubles real = load<Doubles>(to);
                Doubles imag = load<Doubles>(to + lanes);
                for (std::size_t r = 0; r < registers; ++r) {
                    real += x[r].real;
                    imag += x[r].imag;
                    x[r] = product(x[r], turn[r]);
                }
                store(real, to);
                store(imag, to + lanes);
            }
        }
        const double* from = task.work;
        double* to = task.table + j;
        for (std::size_t k = 0; k < task.count; ++k, from += 2 * lanes, to += 2 * task.stride) {
            to[0] = sum_of(load<Doubles>(from));
            to[task.stride] = sum_of(load<Doubles>(from + lanes));
        }
    }
}

}  // namespace ECHOSIEVE_KERNEL_SET
}  // namespace echosieve::kernels
