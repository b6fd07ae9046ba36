// exp(-i w tau) for all delays tau and an even row of angular frequencies w.
#include "phasors_kernel.hpp"

#include "complex_lanes.hpp"
#include "sine_cosine.hpp"

namespace echosieve::kernels {
namespace {

constexpr std::size_t lanes = Doubles::size;

ECHOSIEVE_INLINE Complex phasors(const Doubles& angle) {
    const auto at = sine_cosine(angle);
    return {at.cosine, -at.sine};
}

// Bins begin to end - 1 of a register of delays; use(p, to) writes the phasors p of a bin.
template <class Use>
ECHOSIEVE_INLINE void walk(const PhasorTask& task, const Doubles& delays, std::size_t begin,
                           std::size_t end, double* to, Use use) {
    const Complex turn = phasors(task.step * delays);
    Complex p = phasors((task.first + static_cast<double>(begin) * task.step) * delays);
    for (std::size_t j = begin; j < end; ++j, to += 2 * task.frames) {
        use(p, to);
        p = product(p, turn);
    }
}

}  // namespace

namespace ECHOSIEVE_KERNEL_SET {

void write_phasors(const PhasorTask& given) noexcept {
    const PhasorTask task = given;  // which no store can change
    for (std::size_t begin = 0; begin < task.bins; begin += bins_between_restarts) {
        const std::size_t left = task.bins - begin;
        const std::size_t end =
            begin + (left < bins_between_restarts ? left : bins_between_restarts);
        double* to = task.out + 2 * task.frames * begin;
        std::size_t i = 0;
        for (; i + lanes <= task.frames; i += lanes, to += 2 * lanes) {
            walk(task, load(task.delays + i), begin, end, to, store_interleaved);
        }
        if (const std::size_t rest = task.frames - i; rest > 0) {
            walk(task, load_first(task.delays + i, rest), begin, end, to,
                 [&](const Complex& p, double* at) { scatter(p, at, rest); });
        }
    }
}

}  // namespace ECHOSIEVE_KERNEL_SET
}  // namespace echosieve::kernels
