// Sums over frames of layers' phasors with each other and with what the gate holds.
#include "layer_sums_kernel.hpp"

#include "kernels/complex_lanes.hpp"
#include "kernels/sine_cosine.hpp"

namespace echosieve::kernels {
namespace {

constexpr std::size_t lanes = Doubles::size;

// A layer's phasors in this bin, and what turns them into the next one's.
struct Row {
    double* real;
    double* imag;
    double* turn_real;
    double* turn_imag;
};

// sum_i w_m conj(E) x for the first `count` weights; other(i) gives x of a register of frames.
template <std::size_t count, class Other>
ECHOSIEVE_INLINE void weigh(const LayerSumTask& task, const Row& e, Other other, double* to) {
    Complex sum[count];
    for (std::size_t i = 0; i < task.stride; i += lanes) {
        const Complex x = other(i);
        const Doubles er = load<Doubles>(e.real + i);
        const Doubles ei = load<Doubles>(e.imag + i);
        const Doubles r = er * x.real + ei * x.imag;
        const Doubles m = er * x.imag - ei * x.real;
        for (std::size_t w = 0; w < count; ++w) {
            const Doubles weight = load<Doubles>(task.weights + w * task.stride + i);
            sum[w].real += weight * r;
            sum[w].imag += weight * m;
        }
    }
    for (std::size_t w = 0; w < count; ++w) {
        to[2 * w] = sum_of(sum[w].real);
        to[2 * w + 1] = sum_of(sum[w].imag);
    }
}

// The gate's values y of the frames from i on, 0 beyond the last.
ECHOSIEVE_INLINE Complex gather_at(const double* y, std::size_t i, std::size_t frames) {
    return gather(y + 2 * i, i < frames ? frames - i : 0);
}

ECHOSIEVE_INLINE Row row_of(const LayerSumTask& task, std::size_t layer) {
    double* const at = task.work + 4 * layer * task.stride;
    return {at, at + task.stride, at + 2 * task.stride, at + 3 * task.stride};
}

}  // namespace

namespace ECHOSIEVE_KERNEL_SET {

void sum_layers(const LayerSumTask& task) noexcept {
    for (std::size_t k = 0; k < task.layers; ++k) {
        const Row e = row_of(task, k);
        for (std::size_t i = 0; i < task.stride; i += lanes) {
            const Doubles delay = load<Doubles>(task.delays + k * task.stride + i);
            const auto at = sine_cosine(task.first * delay);
            const auto turn = sine_cosine(task.step * delay);
            store(at.cosine, e.real + i);
            store(-at.sine, e.imag + i);
            store(turn.cosine, e.turn_real + i);
            store(-turn.sine, e.turn_imag + i);
        }
    }
    double* pairs = task.pairs;
    double* projections = task.projections;
    for (std::size_t j = 0; j < task.bins; ++j) {
        for (std::size_t k = 0; k < task.layers; ++k) {
            const Row e = row_of(task, k);
            const double* const y = task.values + 2 * j * task.frames;
            weigh<3>(
                task, e, [&](std::size_t i) { return gather_at(y, i, task.frames); }, projections);
            projections += 6;
            for (std::size_t l = k + 1; l < task.layers; ++l) {
                const Row other = row_of(task, l);
                weigh<6>(
                    task, e,
                    [&](std::size_t i) {
                        return Complex{load<Doubles>(other.real + i),
                                       load<Doubles>(other.imag + i)};
                    },
                    pairs);
                pairs += 12;
            }
        }
        for (std::size_t k = 0; k < task.layers && j + 1 < task.bins; ++k) {
            const Row e = row_of(task, k);
            for (std::size_t i = 0; i < task.stride; i += lanes) {
                const Doubles real = load<Doubles>(e.real + i);
                const Doubles imag = load<Doubles>(e.imag + i);
                const Doubles tr = load<Doubles>(e.turn_real + i);
                const Doubles ti = load<Doubles>(e.turn_imag + i);
                store(real * tr - imag * ti, e.real + i);
                store(real * ti + imag * tr, e.imag + i);
            }
        }
    }
}

}  // namespace ECHOSIEVE_KERNEL_SET
}  // namespace echosieve::kernels
