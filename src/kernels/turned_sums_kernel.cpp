// Sums over frames of values that turn step by step.
#include "turned_sums_kernel.hpp"

#include "vectors.hpp"

namespace echosieve::kernels {
namespace {

constexpr std::size_t lanes = lanes_of<Doubles>;
constexpr std::size_t registers = 4;  // side by side: one turn waits for the one before
constexpr std::size_t group = lanes * registers;

struct Group {
    Doubles real[registers];
    Doubles imag[registers];
};

// Frames first to first + group - 1, 0 beyond the last.
ECHOSIEVE_INLINE Group load_group(const double* from, std::size_t first, std::size_t frames) {
    Group out{};
    for (std::size_t r = 0; r < registers; ++r) {
        for (std::size_t l = 0; l < lanes; ++l) {
            const std::size_t i = first + r * lanes + l;
            if (i < frames) {
                out.real[r][l] = from[2 * i];
                out.imag[r][l] = from[2 * i + 1];
            }
        }
    }
    return out;
}

}  // namespace

namespace ECHOSIEVE_KERNEL_SET {

void turn_sums(const TurnedSumTask& task) noexcept {
    for (std::size_t j = 0; j < task.bins; ++j) {
        for (std::size_t k = 0; k < 2 * lanes * task.count; k += lanes) {
            store(Doubles{}, task.work + k);
        }
        const double* const values = task.values + 2 * j * task.frames;
        const double* const turns = task.turn + 2 * j * task.frames;
        for (std::size_t i = 0; i < task.frames; i += group) {
            Group x = load_group(values, i, task.frames);
            const Group turn = load_group(turns, i, task.frames);
            double* to = task.work;
            for (std::size_t k = 0; k < task.count; ++k, to += 2 * lanes) {
                Doubles real = load<Doubles>(to);
                Doubles imag = load<Doubles>(to + lanes);
                for (std::size_t r = 0; r < registers; ++r) {
                    real += x.real[r];
                    imag += x.imag[r];
                    const Doubles turned = x.real[r] * turn.real[r] - x.imag[r] * turn.imag[r];
                    x.imag[r] = x.real[r] * turn.imag[r] + x.imag[r] * turn.real[r];
                    x.real[r] = turned;
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
