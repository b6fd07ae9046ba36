// Sine and cosine of a register of doubles.
#pragma once

#include "vectors.hpp"

namespace echosieve::kernels {
namespace {  // NOLINT: see vectors.hpp

template <class V>
struct SineCosine {
    V sine, cosine;
};

// Sine and cosine after so many quarter turns.
template <class V>
ECHOSIEVE_INLINE SineCosine<V> turned_by(const IntegersOf<V>& quarters, const V& sine,
                                         const V& cosine) {
    using Integers = IntegersOf<V>;
    constexpr int to_sign = 8 * sizeof(typename V::value_type) - 2;
    const Integers odd = 0 - (quarters & 1);
    const Integers s = bits_as<Integers>(sine);
    const Integers c = bits_as<Integers>(cosine);
    return {bits_as<V>(((s & ~odd) | (c & odd)) ^ ((quarters & 2) << to_sign)),
            bits_as<V>(((c & ~odd) | (s & odd)) ^ (((quarters + 1) & 2) << to_sign))};
}

// x = k pi / 2 + y, |y| <= pi / 4. pi / 2 is taken off in three parts of 33 bits, so that the
// products with k are exact while |k| < 2^20 (Cody and Waite 1980). The polynomials are those of
// fdlibm (Sun Microsystems 1993, k_sin.c and k_cos.c).
//
// |x| <= 1e6: absolute error below 2^-52, as the tests measure it. NaN and infinities give NaN.
ECHOSIEVE_INLINE SineCosine<Doubles> sine_cosine(const Doubles& x) {
    constexpr double two_over_pi = 6.36619772367581382433e-01;
    constexpr double shift = 0x1.8p52;  // adding it rounds to an integer, in the lowest bits
    const Doubles shifted = x * two_over_pi + shift;
    const Doubles k = shifted - shift;
    const auto quadrant = bits_as<IntegersOf<Doubles>>(shifted);

    const Doubles first = x - k * 1.57079632673412561417e+00;
    const Doubles second = k * 6.07710050630396597660e-11;
    const Doubles rest = first - second;
    const Doubles y = rest - (k * 2.02226624871116645580e-21 - ((first - rest) - second));

    const Doubles z = y * y;
    const Doubles s =
        -1.66666666666666324348e-01 +
        z * (8.33333333332248946124e-03 +
             z * (-1.98412698298579493134e-04 +
                  z * (2.75573137070700676789e-06 +
                       z * (-2.50507602534068634195e-08 + z * 1.58969099521155010221e-10))));
    const Doubles c =
        4.16666666666666019037e-02 +
        z * (-1.38888888888741095749e-03 +
             z * (2.48015872894767294178e-05 +
                  z * (-2.75573143513906633035e-07 +
                       z * (2.08757232129817482790e-09 + z * -1.13596475577881948265e-11))));
    const Doubles sine = y + y * z * s;
    // 1 - z / 2 with what its rounding loses.
    const Doubles half = 0.5 * z;
    const Doubles near = 1.0 - half;
    const Doubles cosine = near + (((1.0 - near) - half) + z * z * c);

    return turned_by(quadrant, sine, cosine);
}

}  // namespace
}  // namespace echosieve::kernels
