// Registers of the instruction set that a kernel's file is being compiled for.
//
// Everything is of internal linkage: the file is compiled once a set, and a function that the
// linker may merge would let instructions of one set into another's code. For the same reason
// kernels include neither Eigen nor the library's templates. Without std, whose inline functions
// are merged as well; plain declarations and constants (numbers, cstdint) are harmless.
//
// No sum is contracted to a fused multiply-add (-ffp-contract=off), and each lane's arithmetic is
// written out: a kernel whose lanes don't mix gives the same bits in all sets.
#pragma once

#include <cstddef>
#include <cstdint>
#include <type_traits>

#if !defined(ECHOSIEVE_KERNEL_SET) || !defined(ECHOSIEVE_REGISTER_BYTES)
#error "kernels are compiled by echosieve_add_kernel (src/kernels/CMakeLists.txt)"
#endif

namespace echosieve::kernels {
namespace {  // NOLINT: on purpose, see above

#define ECHOSIEVE_INLINE [[gnu::always_inline]] inline

inline constexpr std::size_t register_bytes = ECHOSIEVE_REGISTER_BYTES;

/// N numbers side by side: a register of this set, or part of one.
template <class T, std::size_t N>
struct VectorOf {
    typedef T type __attribute__((vector_size(N * sizeof(T))));
    typedef T unaligned __attribute__((vector_size(N * sizeof(T)), aligned(alignof(T)), may_alias));
};

using Doubles = VectorOf<double, register_bytes / 8>::type;
using Longs = VectorOf<std::int64_t, register_bytes / 8>::type;
using Floats = VectorOf<float, register_bytes / 4>::type;

template <class V>
using NumberOf = std::remove_cvref_t<decltype(V{}[0])>;
template <class V>
inline constexpr std::size_t lanes_of = sizeof(V) / sizeof(NumberOf<V>);
/// As many 32-bit integers as V has floats.
template <class V>
using IntegersOf = typename VectorOf<std::int32_t, lanes_of<V>>::type;
template <class V>
using UnsignedOf = typename VectorOf<std::uint32_t, lanes_of<V>>::type;

template <class V>
ECHOSIEVE_INLINE V load(const NumberOf<V>* from) {
    return *reinterpret_cast<const typename VectorOf<NumberOf<V>, lanes_of<V>>::unaligned*>(from);
}
/// A whole register, where that is all that a kernel uses.
ECHOSIEVE_INLINE Doubles load(const double* from) {
    return load<Doubles>(from);
}
template <class V>
ECHOSIEVE_INLINE void store(const V& x, NumberOf<V>* to) {
    *reinterpret_cast<typename VectorOf<NumberOf<V>, lanes_of<V>>::unaligned*>(to) = x;
}

/// Of all lanes, the first one first.
template <class V>
ECHOSIEVE_INLINE NumberOf<V> sum_of(const V& x) {
    NumberOf<V> sum = 0;
    for (std::size_t k = 0; k < lanes_of<V>; ++k) {
        sum += x[k];
    }
    return sum;
}

/// Where the mask, the result of a comparison, is true, x; elsewhere y.
template <class V>
ECHOSIEVE_INLINE V choose(const IntegersOf<V>& mask, const V& x, const V& y) {
    return mask ? x : y;
}
template <class V>
ECHOSIEVE_INLINE V smaller(const V& x, const V& y) {
    return x < y ? x : y;
}
template <class V>
ECHOSIEVE_INLINE V larger(const V& x, const V& y) {
    return x > y ? x : y;
}

}  // namespace
}  // namespace echosieve::kernels
