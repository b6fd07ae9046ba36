// Which vector instructions the compiled kernels use: chosen at run time, by the processor or the
// user. Compiled: link echosieve::kernels (echosieve::motion brings it along).
#pragma once

#include <array>
#include <string_view>

#include "echosieve/core/detail/api.hpp"

namespace echosieve {

/// The sets that kernels (echosieve/kernels/) are compiled for. Away from x86-64 there is the
/// baseline alone, in whatever vectors the compiler's default target has.
enum class InstructionSet {
    baseline,  ///< what every processor of the architecture has; SSE2 on x86-64
    avx2,      ///< AVX2 and FMA
    avx512,    ///< AVX-512 F, BW, DQ and VL
};

inline constexpr std::array all_instruction_sets{InstructionSet::baseline, InstructionSet::avx2,
                                                 InstructionSet::avx512};

/// The name that from_name() takes: "baseline", "avx2", "avx512"; "unknown" for another number.
[[nodiscard]] constexpr std::string_view describe(InstructionSet set) noexcept {
    switch (set) {
        case InstructionSet::baseline:
            return "baseline";
        case InstructionSet::avx2:
            return "avx2";
        case InstructionSet::avx512:
            return "avx512";
    }
    return "unknown";
}

/// The set of that name. Throws InvalidInput for a name that describe() does not give.
[[nodiscard]] ECHOSIEVE_API InstructionSet instruction_set_from(std::string_view name);

/// Whether this processor and its operating system run the set, and the kernels have it.
[[nodiscard]] ECHOSIEVE_API bool available(InstructionSet set) noexcept;

/// The widest set available.
[[nodiscard]] ECHOSIEVE_API InstructionSet best_instruction_set() noexcept;

/// What kernels use unless told otherwise: the set that the environment variable
/// ECHOSIEVE_INSTRUCTION_SET names, or the best one if it is unset or empty. Read once, at the
/// first call that finds it valid. Throws InvalidInput if the variable names no set, or one that
/// is not available: a wish that can't be met is not passed over in silence.
[[nodiscard]] ECHOSIEVE_API InstructionSet default_instruction_set();

/// Throws InvalidInput unless the set is available.
ECHOSIEVE_API void validate(InstructionSet set);

}  // namespace echosieve
