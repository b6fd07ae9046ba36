// Functions of a register of numbers, a batch of xsimd's.
#pragma once

#include <cassert>
#include <cstdint>
#include <type_traits>
#include <xsimd/xsimd.hpp>

// Kernels use them as well (src/kernels/vectors.hpp): always inline, and nothing of std's.
#define ECHOSIEVE_INLINE [[gnu::always_inline]] inline

#if !defined(XSIMD_NO_SUPPORTED_ARCHITECTURE)
namespace echosieve::detail {

/// As many integers as V has numbers, of the same size.
template <class V>
using IntegersOf = xsimd::batch<
    std::conditional_t<sizeof(typename V::value_type) == 4, std::int32_t, std::int64_t>,
    typename V::arch_type>;

/// The bits of x as those of a To.
template <class To, class V>
[[nodiscard]] ECHOSIEVE_INLINE To bits_as(const V& x) noexcept {
#if XSIMD_VERSION_MAJOR >= 11
    return xsimd::bitwise_cast<typename To::value_type>(x);
#else
    return xsimd::bitwise_cast<To>(x);
#endif
}

/// exp(x) = scale (1 + rest): the parts apart, so that exp(x) - 1 keeps its digits.
template <class V>
struct ScaledExponential {
    V scale, rest;

    [[nodiscard]] ECHOSIEVE_INLINE V value() const noexcept { return scale + scale * rest; }
    [[nodiscard]] ECHOSIEVE_INLINE V minus_one() const noexcept {
        return (scale - V(1)) + scale * rest;
    }
};

// x = k ln 2 + r, |r| <= ln 2 / 2. Faster than xsimd's, which mind what lies beyond.

/// Relative error below 2^-22 for -87 <= x <= 87; beyond, the numbers mean nothing. Polynomial of
/// Cephes (Moshier 1992, expf).
template <class A>
[[nodiscard]] ECHOSIEVE_INLINE ScaledExponential<xsimd::batch<float, A>> exponential(
    const xsimd::batch<float, A>& x) noexcept {
    using V = xsimd::batch<float, A>;
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

/// Relative error below 2^-51 for -708 <= x <= 708; beyond, the numbers mean nothing. Taylor's
/// polynomial, whose next term is 2^-57; ln 2 in two parts, as fdlibm has it (Sun Microsystems
/// 1993, e_exp.c).
template <class A>
[[nodiscard]] ECHOSIEVE_INLINE ScaledExponential<xsimd::batch<double, A>> exponential(
    const xsimd::batch<double, A>& x) noexcept {
    using V = xsimd::batch<double, A>;
    constexpr double shift = 0x1.8p52;  // adding it rounds to an integer, in the lowest bits
    const V shifted = x * 1.44269504088896338700 + shift;
    const V k = shifted - shift;
    const V r = (x - k * 6.93147180369123816490e-01) - k * 1.90821492927058770002e-10;
    const V p = 1.0 / 2 +
                r * (1.0 / 6 +
                     r * (1.0 / 24 +
                          r * (1.0 / 120 +
                               r * (1.0 / 720 +
                                    r * (1.0 / 5040 +
                                         r * (1.0 / 40320 +
                                              r * (1.0 / 362880 +
                                                   r * (1.0 / 3628800 +
                                                        r * (1.0 / 39916800 +
                                                             r * (1.0 / 479001600 +
                                                                  r * (1.0 / 6227020800)))))))))));
    const auto exponent = (bits_as<IntegersOf<V>>(shifted) + 1023) << 52;
    return {bits_as<V>(exponent), r + r * r * p};
}

}  // namespace echosieve::detail
#endif
