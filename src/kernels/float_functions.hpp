// Sine and cosine of a register of floats, to a unit or two in the last place.
#pragma once

#include "sine_cosine.hpp"
#include "vectors.hpp"

namespace echosieve::kernels {
namespace {  // NOLINT: see vectors.hpp

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
