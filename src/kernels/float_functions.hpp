// Exponential, sine and cosine of a register of floats, to a unit or two in the last place.
#pragma once

#include "sine_cosine.hpp"
#include "vectors.hpp"

namespace echosieve::kernels {
namespace {  // NOLINT: see vectors.hpp

// exp(x) = scale (1 + rest): the parts apart, so that exp(x) - 1 keeps its digits.
template <class V>
struct ScaledExponential {
    V scale, rest;

    ECHOSIEVE_INLINE V value() const { return scale + scale * rest; }
    ECHOSIEVE_INLINE V minus_one() const { return (scale - 1.0F) + scale * rest; }
};

// x = k ln 2 + r, |r| <= ln 2 / 2; polynomial of Cephes (Moshier 1992, expf). Relative error below
// 2^-22 for -87 <= x <= 87; beyond, the numbers mean nothing.
template <class V>
ECHOSIEVE_INLINE ScaledExponential<V> exponential(const V& x) {
    constexpr float shift = 0x1.8p23F;  // adding it rounds to an integer
    const V k = (x * 1.44269504088896341F + shift) - shift;
    const V r = (x - k * 0.693359375F) - k * -2.12194440e-4F;
    const V p = 5.0000001201e-1F +
                r * (1.6666665459e-1F +
                     r * (4.1665795894e-2F +
                          r * (8.3334519073e-3F + r * (1.3981999507e-3F + r * 1.9875691500e-4F))));
    const IntegersOf<V> exponent = (xsimd::to_int(k) + 127) << 23;
    return {bits_as<V>(exponent), r + r * r * p};
}

// |x| <= 4: absolute error below 2^-22. Reduction to |y| <= pi / 4 and polynomials of Cephes
// (Moshier 1992, sinf and cosf).
template <class V>
ECHOSIEVE_INLINE SineCosine<V> sine_cosine(const V& x) {
    constexpr float shift = 0x1.8p23F;
    const V shifted = x * 0.636619772367581343F + shift;
    const V k = shifted - shift;
    const auto quadrant = bits_as<IntegersOf<V>>(shifted);
    const V y = (x - k * 1.5703125F) - k * 4.83826794896619e-4F;
    const V z = y * y;
    const V sine = y + y * z * (-1.6666654611e-1F + z * (8.3321608736e-3F - z * 1.9515295891e-4F));
    const V cosine =
        1.0F - 0.5F * z +
        z * z * (4.166664568298827e-2F + z * (-1.388731625493765e-3F + z * 2.443315711809948e-5F));
    return turned_by(quadrant, sine, cosine);
}

}  // namespace
}  // namespace echosieve::kernels
