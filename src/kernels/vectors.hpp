// Registers of the instruction set that a kernel's file is being compiled for: batches of xsimd's.
//
// All that is the library's own here is of internal linkage: the file is compiled once a set, and a
// function that the linker may merge would let instructions of one set into another's code. xsimd's
// are merged, under a name that has the architecture in it, but not always that of the set: so
// CMake names its namespace after the set. Kernels include neither Eigen nor the library's
// templates, and call none of std's inline functions; plain declarations and constants (numbers,
// cstdint) are harmless.
//
// No sum is contracted to a fused multiply-add (-ffp-contract=off), and each lane's arithmetic is
// written out: a kernel whose lanes don't mix gives the same bits in all sets.
#pragma once

#include <complex>
#include <cstddef>
#include <cstdint>

#include "echosieve/core/detail/lane_functions.hpp"

#if !defined(ECHOSIEVE_KERNEL_SET)
#error "kernels are compiled once a set (src/kernel_objects.cmake)"
#endif

namespace echosieve::kernels {
namespace {  // NOLINT: on purpose, see above

namespace architectures {
#if defined(ECHOSIEVE_KERNELS_OF_X86)
using baseline = xsimd::sse2;
using avx2 = xsimd::fma3<xsimd::avx2>;
using avx512 = xsimd::avx512bw;
#else
using baseline = xsimd::default_arch;
#endif
}  // namespace architectures
using Architecture = architectures::ECHOSIEVE_KERNEL_SET;

using Doubles = xsimd::batch<double, Architecture>;
using Floats = xsimd::batch<float, Architecture>;

using detail::bits_as;
using detail::exponential;
using detail::IntegersOf;
template <class V>
using UnsignedOf = xsimd::batch<std::uint32_t, typename V::arch_type>;

template <class V>
ECHOSIEVE_INLINE V load(const typename V::value_type* from) {
    return V::load_unaligned(from);
}
/// A whole register, where that is all that a kernel uses.
ECHOSIEVE_INLINE Doubles load(const double* from) {
    return load<Doubles>(from);
}
template <class V>
ECHOSIEVE_INLINE void store(const V& x, typename V::value_type* to) {
    x.store_unaligned(to);
}
/// The first `count` numbers, 0 beyond.
ECHOSIEVE_INLINE Doubles load_first(const double* from, std::size_t count) {
    double numbers[Doubles::size] = {};
    for (std::size_t l = 0; l < Doubles::size && l < count; ++l) {
        numbers[l] = from[l];
    }
    return load(numbers);
}

/// Of all lanes, the first one first: not as xsimd adds them.
template <class V>
ECHOSIEVE_INLINE typename V::value_type sum_of(const V& x) {
    typename V::value_type numbers[V::size];
    store(x, numbers);
    typename V::value_type sum = 0;
    for (const typename V::value_type number : numbers) {
        sum += number;
    }
    return sum;
}

}  // namespace
}  // namespace echosieve::kernels
