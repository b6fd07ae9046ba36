#include "echosieve/core/instruction_set.hpp"

#include <cstdlib>
#include <string>

#include "echosieve/core/error.hpp"
#include "support/check.hpp"

using namespace echosieve;

TEST_CASE("names of instruction sets lead back to them, and nothing else does") {
    for (const InstructionSet set : all_instruction_sets) {
        CHECK(instruction_set_from(describe(set)) == set);
    }
    for (const char* name : {"", "AVX2", "avx", "avx512 ", "unknown"}) {
        CHECK_THROWS_AS(static_cast<void>(instruction_set_from(name)), InvalidInput);
    }
    CHECK(describe(static_cast<InstructionSet>(17)) == "unknown");
}

TEST_CASE("the best instruction set is available, and so are all below it") {
    CHECK(available(InstructionSet::baseline));
    CHECK(available(best_instruction_set()));
    CHECK(!available(static_cast<InstructionSet>(17)));
    for (const InstructionSet set : all_instruction_sets) {
        CHECK(available(set) == (set <= best_instruction_set()));
        if (available(set)) {
            CHECK_NOTHROW(validate(set));
        } else {
            CHECK_THROWS_AS(validate(set), InvalidInput);
        }
    }
}

// ctest runs this once as it is and once with each name in the variable, see tests/CMakeLists.txt.
TEST_CASE("the environment decides which instruction set is the default") {
    const char* const wish = std::getenv("ECHOSIEVE_INSTRUCTION_SET");
    if (wish == nullptr || std::string(wish).empty()) {
        CHECK(default_instruction_set() == best_instruction_set());
        return;
    }
    bool good = false;
    for (const InstructionSet set : all_instruction_sets) {
        good = good || (available(set) && describe(set) == wish);
    }
    if (good) {
        CHECK(describe(default_instruction_set()) == wish);
    } else {
        CHECK_THROWS_AS(static_cast<void>(default_instruction_set()), InvalidInput);
    }
}
