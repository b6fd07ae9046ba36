// Sums over frames of layers' phasors with each other and with what the gate holds.
#include "layer_sums_kernel.hpp"

#include "sine_cosine.hpp"
#include "vectors.hpp"

namespace echosieve::kernels {
namespace {

constexpr std::size_t lanes = lanes_of<Doubles>;

ECHOSIEVE_INLINE double sum_of(const Doubles& x) {
    double sum = 0;
    for (std::size_t k = 0; k < lanes; ++k) {
        sum += x[k];
    }
    return sum;
}

// A layer's phasors in this bin, and what turns them into the next one's.
struct Row {
    double* real;
    double* imag;
    double* turn_real;
    double* turn_imag;
};

// sum w_m conj(E) Y for the first three weights.
ECHOSIEVE_INLINE void project(const LayerSumTask& task, const Row& e, const double* y, double* to) {
    Doubles real[3] = {};
    Doubles imag[3] = {};
    for (std::size_t i = 0; i < task.stride; i += lanes) {
        Doubles yr;
        Doubles yi;
        if (i + lanes <= task.frames) {
            for (std::size_t k = 0; k < lanes; ++k) {
                yr[k] = y[2 * (i + k)];
                yi[k] = y[2 * (i + k) + 1];
            }
        } else {
            yr = yi = Doubles{};
            for (std::size_t k = 0; i + k < task.frames; ++k) {
                yr[k] = y[2 * (i + k)];
                yi[k] = y[2 * (i + k) + 1];
            }
        }
        const Doubles er = load<Doubles>(e.real + i);
        const Doubles ei = load<Doubles>(e.imag + i);
        const Doubles r = er * yr + ei * yi;
        const Doubles m = er * yi - ei * yr;
        for (std::size_t w = 0; w < 3; ++w) {
            const Doubles weight = load<Doubles>(task.weights + w * task.stride + i);
            real[w] += weight * r;
            imag[w] += weight * m;
        }
    }
    for (std::size_t w = 0; w < 3; ++w) {
        to[2 * w] = sum_of(real[w]);
        to[2 * w + 1] = sum_of(imag[w]);
    }
}

// sum w_m conj(E_k) E_l for all six weights.
ECHOSIEVE_INLINE void pair(const LayerSumTask& task, const Row& k, const Row& l, double* to) {
    Doubles real[6] = {};
    Doubles imag[6] = {};
    for (std::size_t i = 0; i < task.stride; i += lanes) {
        const Doubles kr = load<Doubles>(k.real + i);
        const Doubles ki = load<Doubles>(k.imag + i);
        const Doubles lr = load<Doubles>(l.real + i);
        const Doubles li = load<Doubles>(l.imag + i);
        const Doubles r = kr * lr + ki * li;
        const Doubles m = kr * li - ki * lr;
        for (std::size_t w = 0; w < 6; ++w) {
            const Doubles weight = load<Doubles>(task.weights + w * task.stride + i);
            real[w] += weight * r;
            imag[w] += weight * m;
        }
    }
    for (std::size_t w = 0; w < 6; ++w) {
        to[2 * w] = sum_of(real[w]);
        to[2 * w + 1] = sum_of(imag[w]);
    }
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
            const SineCosine at = sine_cosine(task.first * delay);
            const SineCosine turn = sine_cosine(task.step * delay);
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
            project(task, row_of(task, k), task.values + 2 * j * task.frames, projections);
            projections += 6;
            for (std::size_t l = k + 1; l < task.layers; ++l) {
                pair(task, row_of(task, k), row_of(task, l), pairs);
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
