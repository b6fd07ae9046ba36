#include "echosieve/core/instruction_set.hpp"

#include <cstdlib>

#include "echosieve/core/error.hpp"

namespace echosieve {

InstructionSet instruction_set_from(std::string_view name) {
    for (const InstructionSet set : all_instruction_sets) {
        if (describe(set) == name) {
            return set;
        }
    }
    throw InvalidInput(
        detail::concatenate("instruction set = ", name, ": must be baseline, avx2 or avx512"));
}

bool available(InstructionSet set) noexcept {
    switch (set) {
        case InstructionSet::baseline:
            return true;
#if defined(ECHOSIEVE_KERNELS_OF_X86)
        // These ask the operating system as well, whether it keeps the wide registers.
        case InstructionSet::avx2:
            return __builtin_cpu_supports("avx2") != 0 && __builtin_cpu_supports("fma") != 0;
        case InstructionSet::avx512:
            return available(InstructionSet::avx2) && __builtin_cpu_supports("avx512f") != 0 &&
                   __builtin_cpu_supports("avx512cd") != 0 &&
                   __builtin_cpu_supports("avx512bw") != 0 &&
                   __builtin_cpu_supports("avx512dq") != 0 &&
                   __builtin_cpu_supports("avx512vl") != 0;
#else
        case InstructionSet::avx2:
        case InstructionSet::avx512:
            return false;
#endif
    }
    return false;
}

InstructionSet best_instruction_set() noexcept {
    InstructionSet best = InstructionSet::baseline;
    for (const InstructionSet set : all_instruction_sets) {
        best = available(set) ? set : best;
    }
    return best;
}

void validate(InstructionSet set) {
    require(available(set), "instruction set", describe(set),
            "must be one that this processor has and the kernels are compiled for");
}

InstructionSet default_instruction_set() {
    static const InstructionSet chosen = [] {
        const char* const wish = std::getenv("ECHOSIEVE_INSTRUCTION_SET");
        if (wish == nullptr || *wish == '\0') {
            return best_instruction_set();
        }
        const InstructionSet set = instruction_set_from(wish);
        validate(set);
        return set;
    }();
    return chosen;
}

}  // namespace echosieve
