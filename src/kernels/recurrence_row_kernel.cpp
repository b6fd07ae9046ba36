// Samples by recurrence, a lane every so many samples.
#include "recurrence_row_kernel.hpp"

#include "vectors.hpp"

namespace echosieve::kernels {
namespace {

constexpr std::size_t lanes = lanes_of<Doubles>;

}  // namespace

namespace ECHOSIEVE_KERNEL_SET {

void add_recurrence(const RecurrenceTask& task) noexcept {
    const double q = task.ratio_ratio;
    // Lane l starts at sample l; a step takes it `lanes` samples on, by w_l w_l+1 ...
    Doubles real{}, imag{}, turn_real{}, turn_imag{};
    double g_real = task.start_real;
    double g_imag = task.start_imag;
    double w_real = task.ratio_real;
    double w_imag = task.ratio_imag;
    for (std::size_t l = 0; l < lanes; ++l) {
        real[l] = g_real;
        imag[l] = g_imag;
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
        turn_real[l] = on_real;
        turn_imag[l] = on_imag;
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
    std::size_t n = 0;
    for (; n + lanes <= task.count; n += lanes) {
        for (std::size_t l = 0; l < lanes; ++l) {
            task.out[n + l] += static_cast<float>(real[l]);
        }
        const Doubles next = real * turn_real - imag * turn_imag;
        imag = real * turn_imag + imag * turn_real;
        real = next;
        turn_real *= decay;
        turn_imag *= decay;
    }
    for (std::size_t l = 0; n + l < task.count; ++l) {
        task.out[n + l] += static_cast<float>(real[l]);
    }
}

}  // namespace ECHOSIEVE_KERNEL_SET
}  // namespace echosieve::kernels
