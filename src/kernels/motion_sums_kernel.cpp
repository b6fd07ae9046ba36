// What a gate's frames say of the motion that all gates share.
#include "motion_sums_kernel.hpp"

#include "sine_cosine.hpp"
#include "vectors.hpp"

namespace echosieve::kernels {
namespace {

constexpr std::size_t lanes = lanes_of<Doubles>;

struct Complex {
    Doubles real;
    Doubles imag;
};

ECHOSIEVE_INLINE Complex product(const Complex& x, const Complex& y) {
    return {x.real * y.real - x.imag * y.imag, x.real * y.imag + x.imag * y.real};
}

// `count` complex numbers side by side, 0 beyond.
ECHOSIEVE_INLINE Complex gather(const double* from, std::size_t count) {
    Complex out{};
    if (count >= lanes) {
        for (std::size_t l = 0; l < lanes; ++l) {
            out.real[l] = from[2 * l];
            out.imag[l] = from[2 * l + 1];
        }
    } else {
        for (std::size_t l = 0; l < count; ++l) {
            out.real[l] = from[2 * l];
            out.imag[l] = from[2 * l + 1];
        }
    }
    return out;
}

ECHOSIEVE_INLINE void add(const Doubles& x, double* to, std::size_t count) {
    if (count >= lanes) {
        store(load<Doubles>(to) + x, to);
    } else {
        for (std::size_t l = 0; l < count; ++l) {
            to[l] += x[l];
        }
    }
}

}  // namespace

namespace ECHOSIEVE_KERNEL_SET {

void sum_motion(const MotionSumTask& task) noexcept {
    for (std::size_t i = 0; i < task.frames; i += lanes) {
        const std::size_t count = task.frames - i;
        double* work = task.work;
        for (std::size_t k = 0; k < task.layers; ++k, work += 4 * lanes) {
            const double* const from = task.delays + k * task.frames + i;
            Doubles delay{};
            for (std::size_t l = 0; l < lanes && l < count; ++l) {
                delay[l] = from[l];
            }
            const SineCosine at = sine_cosine(task.first * delay);
            const SineCosine turn = sine_cosine(task.step * delay);
            store(at.cosine, work);
            store(-at.sine, work + lanes);
            store(turn.cosine, work + 2 * lanes);
            store(-turn.sine, work + 3 * lanes);
        }
        Doubles pp{}, pq{}, qq{}, pr{}, qr{};
        for (std::size_t j = 0; j < task.bins; ++j) {
            const std::size_t column = 2 * (j * task.frames + i);
            Complex p{};
            Complex q{};
            work = task.work;
            for (std::size_t k = 0; k < task.layers; ++k, work += 4 * lanes) {
                const Complex e{load<Doubles>(work), load<Doubles>(work + lanes)};
                const Complex turn{load<Doubles>(work + 2 * lanes),
                                   load<Doubles>(work + 3 * lanes)};
                const double* const a = task.pulse + 2 * (j * task.layers + k);
                const double* const b = task.bulk + 2 * (j * task.layers + k);
                p.real += a[0] * e.real - a[1] * e.imag;
                p.imag += a[0] * e.imag + a[1] * e.real;
                q.real += b[0] * e.real - b[1] * e.imag;
                q.imag += b[0] * e.imag + b[1] * e.real;
                const Complex next = product(e, turn);
                store(next.real, work);
                store(next.imag, work + lanes);
                if (k + 1 == task.own_layers && task.own != nullptr) {
                    const Complex own = gather(task.own + column, count);
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
        add(task.weight * pq, to + task.frames, count);
        add(task.weight * qq, to + 2 * task.frames, count);
        add(task.weight * pr, to + 3 * task.frames, count);
        add(task.weight * qr, to + 4 * task.frames, count);
    }
}

}  // namespace ECHOSIEVE_KERNEL_SET
}  // namespace echosieve::kernels
