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

#if !defined(ECHOSIEVE_KERNEL_SET) || !defined(ECHOSIEVE_REGISTER_BYTES)
#error "kernels are compiled by echosieve_add_kernel (src/kernels/CMakeLists.txt)"
#endif

namespace echosieve::kernels {
namespace {  // NOLINT: on purpose, see above

#define ECHOSIEVE_INLINE [[gnu::always_inline]] inline

inline constexpr std::size_t register_bytes = ECHOSIEVE_REGISTER_BYTES;

template <class T>
struct RegisterOf {
    typedef T type __attribute__((vector_size(register_bytes)));
    typedef T unaligned
        __attribute__((vector_size(register_bytes), aligned(alignof(T)), may_alias));
};

using Doubles = RegisterOf<double>::type;
using Longs = RegisterOf<std::int64_t>::type;
using Floats = RegisterOf<float>::type;
using Integers = RegisterOf<std::int32_t>::type;
using Unsigned = RegisterOf<std::uint32_t>::type;

template <class V>
inline constexpr std::size_t lanes_of = register_bytes / sizeof(V{}[0]);

ECHOSIEVE_INLINE Doubles load(const double* from) {
    return *reinterpret_cast<const RegisterOf<double>::unaligned*>(from);
}
ECHOSIEVE_INLINE void store(const Doubles& x, double* to) {
    *reinterpret_cast<RegisterOf<double>::unaligned*>(to) = x;
}
ECHOSIEVE_INLINE Floats load(const float* from) {
    return *reinterpret_cast<const RegisterOf<float>::unaligned*>(from);
}
ECHOSIEVE_INLINE void store(const Floats& x, float* to) {
    *reinterpret_cast<RegisterOf<float>::unaligned*>(to) = x;
}

}  // namespace
}  // namespace echosieve::kernels
