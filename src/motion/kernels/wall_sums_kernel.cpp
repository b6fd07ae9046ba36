// The sums of a wall's model, all bins at once.
#include "wall_sums_kernel.hpp"

#include "kernels/complex_lanes.hpp"

namespace echosieve::kernels {
namespace {

constexpr std::size_t lanes = Doubles::size;

// Element n of an array, the bins of one register.
ECHOSIEVE_INLINE Complex load(const double* from, std::size_t n, std::size_t stride) {
    return {kernels::load<Doubles>(from + 2 * n * stride),
            kernels::load<Doubles>(from + (2 * n + 1) * stride)};
}
ECHOSIEVE_INLINE void store(const Complex& x, double* to, std::size_t n, std::size_t stride) {
    kernels::store(x.real, to + 2 * n * stride);
    kernels::store(x.imag, to + (2 * n + 1) * stride);
}
// x -= conj(y) z
ECHOSIEVE_INLINE void take_conjugate(Complex& x, const Complex& y, const Complex& z) {
    x.real -= y.real * z.real + y.imag * z.imag;
    x.imag -= y.real * z.imag - y.imag * z.real;
}
// x -= y z
ECHOSIEVE_INLINE void take(Complex& x, const Complex& y, const Complex& z) {
    x.real -= y.real * z.real - y.imag * z.imag;
    x.imag -= y.real * z.imag + y.imag * z.real;
}
// x -= y conj(z)
ECHOSIEVE_INLINE void take_by_conjugate(Complex& x, const Complex& y, const Complex& z) {
    x.real -= y.real * z.real + y.imag * z.imag;
    x.imag -= y.imag * z.real - y.real * z.imag;
}
ECHOSIEVE_INLINE Complex scaled(const Complex& x, const Doubles& by) {
    return {x.real * by, x.imag * by};
}
constexpr std::size_t lower(std::size_t row) {
    return row * (row + 1) / 2;
}

// Without layers, or without a sheet, an array of no elements has no place either.
ECHOSIEVE_INLINE double* from(double* array, std::size_t at) {
    return array == nullptr ? nullptr : array + at;
}

// All of TissueTask for the bins from `at` on, a register of them.
ECHOSIEVE_INLINE void take_out(const TissueTask& t, std::size_t at) {
    const std::size_t s = t.stride;
    const Doubles inverse_still = 1.0 / kernels::load<Doubles>(t.still_gram + at);
    double* const factor = from(t.factor, at);
    double* const reduced = from(t.reduced, at);
    double* const projected = from(t.projected, at);
    const Complex still = load(t.still + at, 0, s);
    Doubles quadratic = (still.real * still.real + still.imag * still.imag) * inverse_still;
    for (std::size_t i = 0; i < t.layers; ++i) {
        const Complex si = scaled(load(t.still_tissue + at, i, s), inverse_still);
        // Row i of L.
        for (std::size_t k = 0; k <= i; ++k) {
            const Complex g = load(t.gram + at, i - k, s);
            Complex m{g.real, -g.imag};
            take_conjugate(m, si, load(t.still_tissue + at, k, s));
            for (std::size_t l = 0; l < k; ++l) {
                take_by_conjugate(m, load(factor, lower(i) + l, s), load(factor, lower(k) + l, s));
            }
            if (k == i) {
                const Doubles pivot = m.real + kernels::load<Doubles>(t.precision + i * s + at);
                // The diagonal: L_ii, and its inverse in the place of the imaginary part.
                const Doubles root = xsimd::sqrt(pivot);
                store({root, 1.0 / root}, factor, lower(i) + i, s);
            } else {
                store(scaled(m, load(factor, lower(k) + k, s).imag), factor, lower(i) + k, s);
            }
        }
        const Doubles inverse = load(factor, lower(i) + i, s).imag;
        Complex y = load(t.projection + at, i, s);
        take_conjugate(y, si, still);
        for (std::size_t l = 0; l < i; ++l) {
            take(y, load(factor, lower(i) + l, s), load(projected, l, s));
        }
        y = scaled(y, inverse);
        store(y, projected, i, s);
        quadratic += y.real * y.real + y.imag * y.imag;
        for (std::size_t c = 0; c < t.sheet; ++c) {
            Complex x = load(t.cross + at, i * t.sheet + c, s);
            take_conjugate(x, si, load(t.still_wall + at, c, s));
            for (std::size_t l = 0; l < i; ++l) {
                take(x, load(factor, lower(i) + l, s), load(reduced, c * t.layers + l, s));
            }
            store(scaled(x, inverse), reduced, c * t.layers + i, s);
        }
    }
    kernels::store(quadratic, t.quadratic + at);
    std::size_t n = 0;
    for (std::size_t k = 0; k < t.sheet; ++k) {
        const Complex wk = scaled(load(t.still_wall + at, k, s), inverse_still);
        const double* const column = reduced + 2 * k * t.layers * s;
        Complex r = load(t.wall + at, k, s);
        take_conjugate(r, wk, still);
        for (std::size_t i = 0; i < t.layers; ++i) {
            take_conjugate(r, load(column, i, s), load(projected, i, s));
        }
        store(r, t.wall_left + at, k, s);
        for (std::size_t l = k; l < t.sheet; ++l, ++n) {
            const double* const other = reduced + 2 * l * t.layers * s;
            Complex g = load(t.sheet_gram + at, n, s);
            take_conjugate(g, wk, load(t.still_wall + at, l, s));
            for (std::size_t i = 0; i < t.layers; ++i) {
                take_conjugate(g, load(column, i, s), load(other, i, s));
            }
            store(g, t.sheet_left + at, n, s);
        }
    }
}

}  // namespace

namespace ECHOSIEVE_KERNEL_SET {

void between_rows(const BetweenRowsTask& task) noexcept {
    const std::size_t length = 2 * task.stride;
    for (std::size_t n = 0; n < task.count; ++n) {
        const BetweenRows& row = task.rows[n];
        for (std::size_t j = 0; j < length; j += lanes) {
            Doubles sum = row.weight[0] * kernels::load<Doubles>(row.table + j);
            for (std::size_t m = 1; m < row_points; ++m) {
                sum += row.weight[m] * kernels::load<Doubles>(row.table + m * length + j);
            }
            kernels::store(sum, task.out + n * length + j);
        }
    }
}

void take_out_tissue(const TissueTask& task) noexcept {
    for (std::size_t at = 0; at < task.stride; at += lanes) {
        take_out(task, at);
    }
}

void weigh_pulses(const PulseTask& task) noexcept {
    const std::size_t s = task.stride;
    std::size_t n = 0;
    for (std::size_t k = 0; k < task.sheet; ++k) {
        Doubles real(0.0);
        Doubles imag(0.0);
        for (std::size_t at = 0; at < s; at += lanes) {
            const Complex d = load(task.pulses + at, k, s);
            const Complex r = load(task.wall_left + at, k, s);
            real += d.real * r.real + d.imag * r.imag;
            imag += d.real * r.imag - d.imag * r.real;
        }
        task.projection[2 * k] = sum_of(real);
        task.projection[2 * k + 1] = sum_of(imag);
        for (std::size_t l = k; l < task.sheet; ++l, ++n) {
            real = imag = Doubles(0.0);
            for (std::size_t at = 0; at < s; at += lanes) {
                const Complex d = load(task.pulses + at, k, s);
                const Complex e = load(task.pulses + at, l, s);
                const Complex g = load(task.sheet_left + at, n, s);
                const Doubles p = d.real * e.real + d.imag * e.imag;
                const Doubles q = d.real * e.imag - d.imag * e.real;
                real += p * g.real - q * g.imag;
                imag += p * g.imag + q * g.real;
            }
            task.gram[2 * n] = sum_of(real);
            task.gram[2 * n + 1] = sum_of(imag);
        }
    }
}

void factor_sheet(const SheetTask& task) noexcept {
    const std::size_t n = task.sheet;
    const std::size_t s = task.stride;
    const double* gram = task.gram;
    for (std::size_t k = 0; k < n; ++k) {
        double* const real = task.factor + 2 * k * s;
        double* const imag = real + s;
        for (std::size_t j = 0; j < s; ++j) {
            real[j] = imag[j] = 0;
        }
        for (std::size_t j = k; j < n; ++j, gram += 2) {
            real[j] = gram[0];
            imag[j] = gram[1];
        }
        real[k] += task.precision[k];
        real[n] = task.projection[2 * k];
        imag[n] = task.projection[2 * k + 1];
        for (std::size_t j = k / lanes * lanes; j <= n; j += lanes) {
            Complex row{kernels::load<Doubles>(real + j), kernels::load<Doubles>(imag + j)};
            for (std::size_t p = 0; p < k; ++p) {
                const double* const above = task.factor + 2 * p * s;
                const Doubles x = kernels::load<Doubles>(above + j);
                const Doubles y = kernels::load<Doubles>(above + s + j);
                row.real -= above[k] * x + above[s + k] * y;
                row.imag -= above[k] * y - above[s + k] * x;
            }
            kernels::store(row.real, real + j);
            kernels::store(row.imag, imag + j);
        }
        const double inverse = 1 / __builtin_sqrt(real[k]);
        for (std::size_t j = k / lanes * lanes; j <= n; j += lanes) {
            kernels::store(inverse * kernels::load<Doubles>(real + j), real + j);
            kernels::store(inverse * kernels::load<Doubles>(imag + j), imag + j);
        }
    }
}

}  // namespace ECHOSIEVE_KERNEL_SET
}  // namespace echosieve::kernels
