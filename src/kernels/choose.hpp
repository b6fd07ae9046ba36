// Entry points of a kernel in all instruction sets, and the choice among them.
#pragma once

#include <cstddef>

#include "echosieve/core/instruction_set.hpp"

namespace echosieve::kernels {

/// Doubles in a register of the widest set: what callers size their memory by.
inline constexpr std::ptrdiff_t widest_register = 8;

/// `count` filled up to whole registers of every set.
[[nodiscard]] constexpr std::ptrdiff_t whole_registers(std::ptrdiff_t count) noexcept {
    return (count + widest_register - 1) / widest_register * widest_register;
}

}  // namespace echosieve::kernels

// Declares `void name(const Arguments&)` in the namespace of each set, and `name_of(set)`, the one
// to call. Arguments is a plain struct of numbers and pointers.
#if defined(ECHOSIEVE_KERNELS_OF_X86)
#define ECHOSIEVE_DECLARE_KERNEL(name, Arguments)                      \
    namespace baseline {                                               \
    void name(const Arguments&) noexcept;                              \
    }                                                                  \
    namespace avx2 {                                                   \
    void name(const Arguments&) noexcept;                              \
    }                                                                  \
    namespace avx512 {                                                 \
    void name(const Arguments&) noexcept;                              \
    }                                                                  \
    [[nodiscard]] inline auto name##_of(InstructionSet set) noexcept { \
        return set == InstructionSet::avx512 ? avx512::name            \
               : set == InstructionSet::avx2 ? avx2::name              \
                                             : baseline::name;         \
    }
#else
#define ECHOSIEVE_DECLARE_KERNEL(name, Arguments)                  \
    namespace baseline {                                           \
    void name(const Arguments&) noexcept;                          \
    }                                                              \
    [[nodiscard]] inline auto name##_of(InstructionSet) noexcept { \
        return baseline::name;                                     \
    }
#endif
