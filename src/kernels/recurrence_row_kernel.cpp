// Samples by recurrence, a lane every so many samples.
#include "recurrence_row_kernel.hpp"

#include "complex_lanes.hpp"

namespace echosieve::kernels {
namespace {

constexpr std::size_t lanes = Doubles::size;

}  // namespace

namespace ECHOSIEVE_KERNEL_SET {

void add_recurrence(const RecurrenceTask& task) noexcept {
    const double q = task.ratio_ratio;
    // Lane l starts at sample l; a step takes it `lanes` samples on, by w_l w_l+1 ...
    double starts[4][lanes];
    double g_real = task.start_real;
    double g_imag = task.start_imag;
    double w_real = task.ratio_real;
    double w_imag = task.ratio_imag;
    for (std::size_t l = 0; l < lanes; ++l) {
        starts[0][l] = g_real;
        starts[1][l] = g_imag;
        double on_real = 1;
        double on_imag = 0;
        double v_real = w_real;
        double v_imag = w_imag;
        for (std::size_t m = 0; m < lanes; ++m) {
            const double next = on_real * v_real - on_imag * v_imag;
            on_imag = on_real * v_imag + on_imag * v_real;
            on_real = next;
            v_real *= q;
            v_imag *= q;
        }
        starts[2][l] = on_real;
        starts[3][l] = on_imag;
        const double next = g_real * w_real - g_imag * w_imag;
        g_imag = g_real * w_imag + g_imag * w_real;
        g_real = next;
        w_real *= q;
        w_imag *= q;
    }
    double decay = 1;
    for (std::size_t m = 0; m < lanes * lanes; ++m) {
        decay *= q;
    }
    Complex g{load(starts[0]), load(starts[1])};
    Complex turn{load(starts[2]), load(starts[3])};
    for (std::size_t n = 0; n < task.count; n += lanes) {
        const std::size_t left = task.count - n;
        double real[lanes];
        store(g.real, real);
        if (left >= lanes) {
            for (std::size_t l = 0; l < lanes; ++l) {
                task.out[n + l] += static_cast<float>(real[l]);
            }
        } else {
            for (std::size_t l = 0; l < left; ++l) {
                task.out[n + l] += static_cast<float>(real[l]);
            }
        }
        g = product(g, turn);
        turn.real *= decay;
        turn.imag *= decay;
    }
}

}  // namespace ECHOSIEVE_KERNEL_SET
}  // namespace echosieve::kernels
