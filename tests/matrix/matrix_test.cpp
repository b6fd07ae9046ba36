// Every public function refuses what it can't take, and says which argument, which value and which
// limit: nothing else comes out, and at once.
#include <doctest/doctest.h>

#include <cstddef>

#include "matrix/refused.hpp"

using namespace echosieve::test;

TEST_CASE("core refuses bad input") {
    check_refused(core_cases());
}
TEST_CASE("atoms refuse bad input") {
    check_refused(atom_cases());
}
TEST_CASE("kernels refuse bad input") {
    check_refused(kernel_cases());
}
TEST_CASE("optimise refuses bad input") {
    check_refused(optimise_cases());
}
TEST_CASE("dictionary refuses bad input") {
    check_refused(dictionary_cases());
}
TEST_CASE("pursuit refuses bad input") {
    check_refused(pursuit_cases());
}
TEST_CASE("correlate refuses bad input") {
    check_refused(correlate_cases());
}
TEST_CASE("condition refuses bad input") {
    check_refused(condition_cases());
}
TEST_CASE("motion refuses bad input") {
    check_refused(motion_cases());
}
TEST_CASE("synthesis refuses bad input") {
    check_refused(synthesis_cases());
}
TEST_CASE("io refuses bad input") {
    check_refused(io_cases());
}

TEST_CASE("the matrix of bad input is as large as it is said to be") {
    std::size_t cases = 0;
    for (const auto& room : {core_cases(), atom_cases(), kernel_cases(), optimise_cases(),
                             dictionary_cases(), pursuit_cases(), correlate_cases(),
                             condition_cases(), motion_cases(), synthesis_cases(), io_cases()}) {
        CHECK(room.all().size() >= 10);
        cases += room.all().size();
    }
    MESSAGE("cases: ", cases);
    CHECK(cases >= 1000);
}
