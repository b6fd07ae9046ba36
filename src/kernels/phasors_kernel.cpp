// exp(-i w tau) for all delays tau and an even row of angular frequencies w.
#include "phasors_kernel.hpp"

#include "sine_cosine.hpp"
#include "vectors.hpp"

namespace echosieve::kernels {
namespace {

constexpr std::size_t lanes = lanes_of<Doubles>;

struct Phasors {
    Doubles real, imag;
};

ECHOSIEVE_INLINE Phasors phasors(const Doubles& angle) {
    const SineCosine at = sine_cosine(angle);
    return {at.cosine, -at.sine};
}

// The parts side by side, as std::complex has them. A template, so that only the branch of this set
// is compiled.
template <class V>
ECHOSIEVE_INLINE void store_interleaved(const V& x, const V& y, double* to) {
    if constexpr (lanes_of<V> == 2) {
        store(__builtin_shufflevector(x, y, 0, 2), to);
        store(__builtin_shufflevector(x, y, 1, 3), to + 2);
    } else if constexpr (lanes_of<V> == 4) {
        store(__builtin_shufflevector(x, y, 0, 4, 1, 5), to);
        store(__builtin_shufflevector(x, y, 2, 6, 3, 7), to + 4);
    } else {
        static_assert(lanes_of<V> == 8);
        store(__builtin_shufflevector(x, y, 0, 8, 1, 9, 2, 10, 3, 11), to);
        store(__builtin_shufflevector(x, y, 4, 12, 5, 13, 6, 14, 7, 15), to + 8);
    }
}

// Calls use(j, phasors of bin j) for the delays of one register, bins begin to end - 1.
template <class Use>
ECHOSIEVE_INLINE void walk(const PhasorTask& task, const Doubles& delays, std::size_t begin,
                           std::size_t end, Use use) {
    const Phasors turn = phasors(task.step * delays);
    Phasors p = phasors((task.first + static_cast<double>(begin) * task.step) * delays);
    for (std::size_t j = begin; j < end; ++j) {
        use(j, p);
        const Doubles real = p.real * turn.real - p.imag * turn.imag;
        p.imag = p.real * turn.imag + p.imag * turn.real;
        p.real = real;
    }
}

}  // namespace

namespace ECHOSIEVE_KERNEL_SET {

void write_phasors(const PhasorTask& task) noexcept {
    for (std::size_t begin = 0; begin < task.bins; begin += bins_between_restarts) {
        const std::size_t left = task.bins - begin;
        const std::size_t end =
            begin + (left < bins_between_restarts ? left : bins_between_restarts);
        std::size_t i = 0;
        for (; i + lanes <= task.frames; i += lanes) {
            walk(task, load(task.delays + i), begin, end, [&](std::size_t j, const Phasors& p) {
                store_interleaved(p.real, p.imag, task.out + 2 * (i + task.frames * j));
            });
        }
        if (i < task.frames) {
            const std::size_t rest = task.frames - i;
            Doubles delays{};
            for (std::size_t k = 0; k < rest; ++k) {
                delays[k] = task.delays[i + k];
            }
            walk(task, delays, begin, end, [&](std::size_t j, const Phasors& p) {
                double* const to = task.out + 2 * (i + task.frames * j);
                for (std::size_t k = 0; k < rest; ++k) {
                    to[2 * k] = p.real[k];
                    to[2 * k + 1] = p.imag[k];
                }
            });
        }
    }
}

}  // namespace ECHOSIEVE_KERNEL_SET
}  // namespace echosieve::kernels
