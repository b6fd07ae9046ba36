// Complex numbers side by side, for the kernels that walk along frames.
#pragma once

#include "vectors.hpp"

namespace echosieve::kernels {
namespace {  // NOLINT: on purpose, see vectors.hpp

struct Complex {
    Doubles real;
    Doubles imag;
};

ECHOSIEVE_INLINE Complex product(const Complex& x, const Complex& y) {
    return {x.real * y.real - x.imag * y.imag, x.real * y.imag + x.imag * y.real};
}

/// x += a y, a a number of its own: real part, then imaginary.
ECHOSIEVE_INLINE void add_scaled(Complex& x, const double* a, const Complex& y) {
    x.real += a[0] * y.real - a[1] * y.imag;
    x.imag += a[0] * y.imag + a[1] * y.real;
}

/// `count` complex numbers side by side, real and imaginary parts in turn; 0 beyond.
ECHOSIEVE_INLINE Complex gather(const double* from, std::size_t count) {
    constexpr std::size_t lanes = lanes_of<Doubles>;
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

}  // namespace
}  // namespace echosieve::kernels
