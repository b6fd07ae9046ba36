// Complex numbers side by side, for the kernels that walk along frames.
#pragma once

#include "vectors.hpp"

namespace echosieve::kernels {
namespace {  // NOLINT: on purpose, see vectors.hpp

struct Complex {
    Doubles real = 0.0;
    Doubles imag = 0.0;
};

ECHOSIEVE_INLINE Complex product(const Complex& x, const Complex& y) {
    return {x.real * y.real - x.imag * y.imag, x.real * y.imag + x.imag * y.real};
}

/// x += a y, a a number of its own: real part, then imaginary.
ECHOSIEVE_INLINE void add_scaled(Complex& x, const double* a, const Complex& y) {
    x.real += a[0] * y.real - a[1] * y.imag;
    x.imag += a[0] * y.imag + a[1] * y.real;
}

/// A register's worth of complex numbers as std::complex has them, real and imaginary parts in
/// turn.
using Interleaved = xsimd::batch<std::complex<double>, Architecture>;

ECHOSIEVE_INLINE Complex load_interleaved(const double* from) {
    const auto x = Interleaved::load_unaligned(reinterpret_cast<const std::complex<double>*>(from));
    return {x.real(), x.imag()};
}
ECHOSIEVE_INLINE void store_interleaved(const Complex& x, double* to) {
    Interleaved(x.real, x.imag).store_unaligned(reinterpret_cast<std::complex<double>*>(to));
}

/// The first `count` of them, 0 beyond.
ECHOSIEVE_INLINE Complex gather(const double* from, std::size_t count) {
    if (count >= Doubles::size) {
        return load_interleaved(from);
    }
    double parts[2 * Doubles::size] = {};
    for (std::size_t k = 0; k < 2 * count; ++k) {
        parts[k] = from[k];
    }
    return load_interleaved(parts);
}
/// Writes the first `count`.
ECHOSIEVE_INLINE void scatter(const Complex& x, double* to, std::size_t count) {
    if (count >= Doubles::size) {
        store_interleaved(x, to);
        return;
    }
    double parts[2 * Doubles::size];
    store_interleaved(x, parts);
    for (std::size_t k = 0; k < 2 * count; ++k) {
        to[k] = parts[k];
    }
}

}  // namespace
}  // namespace echosieve::kernels
