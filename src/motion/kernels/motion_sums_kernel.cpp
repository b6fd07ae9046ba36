// What a gate's frames say of the motion that all gates share.
#include "motion_sums_kernel.hpp"

#include "layer_walk.hpp"

namespace echosieve::kernels {
namespace {

ECHOSIEVE_INLINE void add(const Doubles& x, double* to, std::size_t count) {
    if (count >= lanes) {
        store(load<Doubles>(to) + x, to);
    } else {
        double numbers[lanes];
        store(x, numbers);
        for (std::size_t l = 0; l < count; ++l) {
            to[l] += numbers[l];
        }
    }
}

}  // namespace

namespace ECHOSIEVE_KERNEL_SET {

void sum_motion(const MotionSumTask& task) noexcept {
    const WalkedLayers& moved = task.moved;
    for (std::size_t i = 0; i < moved.frames; i += lanes) {
        const std::size_t count = moved.frames - i;
        start_walk(moved, i, count);
        Doubles pp(0.0), pq(0.0), qq(0.0), pr(0.0), qr(0.0);
        for (std::size_t j = 0; j < moved.bins; ++j) {
            const std::size_t column = 2 * (j * moved.frames + i);
            Complex p;
            Complex q;
            for (std::size_t k = 0; k < moved.layers; ++k) {
                const Complex e = walk_on(moved.work + k * walk_registers * lanes);
                add_scaled(p, task.pulse + 2 * (j * moved.layers + k), e);
                add_scaled(q, task.bulk + 2 * (j * moved.layers + k), e);
                if (k + 1 == moved.own_layers && moved.own != nullptr) {
                    const Complex own = gather(moved.own + column, count);
                    p = product(p, own);
                    q = product(q, own);
                }
            }
            const Complex rest = gather(task.rest + column, count);
            pp += p.real * p.real + p.imag * p.imag;
            pq += p.real * q.real + p.imag * q.imag;
            qq += q.real * q.real + q.imag * q.imag;
            pr += p.real * rest.real + p.imag * rest.imag;
            qr += q.real * rest.real + q.imag * rest.imag;
        }
        double* const to = task.out + i;
        add(task.weight * pp, to, count);
        add(task.weight * pq, to + moved.frames, count);
        add(task.weight * qq, to + 2 * moved.frames, count);
        add(task.weight * pr, to + 3 * moved.frames, count);
        add(task.weight * qr, to + 4 * moved.frames, count);
    }
}

}  // namespace ECHOSIEVE_KERNEL_SET
}  // namespace echosieve::kernels
