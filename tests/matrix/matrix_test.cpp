// Every public function refuses what it can't take, and says which argument, which value and which
// limit: nothing else comes out, and at once.
#include <doctest/doctest.h>

#include <chrono>
#include <cstddef>
#include <exception>
#include <string>
#include <string_view>
#include <vector>

#include "bad_input.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/io/files.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

// What a refusal takes: a millisecond. A thousand times that is left for a slow machine with
// sanitisers; ten seconds would be a hang.
constexpr double longest = 10;  // [s]

// Text of the standard library, the JSON parser and Eigen, which says nothing of the input.
constexpr std::string_view raw_texts[] = {"std::",   "vector::", "basic_string", "bad_alloc",
                                          "stod",    "stoi",     "json.",        "Eigen",
                                          "what():", "assert"};

enum class Outcome { accepted, invalid, file, other };

struct Answer {
    Outcome outcome = Outcome::accepted;
    std::string text;
};

Answer answer_of(const BadInput& bad) {
    try {
        bad.call();
    } catch (const InvalidInput& refusal) {
        return {Outcome::invalid, refusal.what()};
    } catch (const FileError& refusal) {
        return {Outcome::file, refusal.what()};
    } catch (const std::exception& other) {
        return {Outcome::other, other.what()};
    }
    return {};
}

void check(const BadInputs& cases) {
    for (const BadInput& bad : cases.all()) {
        CAPTURE(bad.function);
        CAPTURE(bad.argument);
        CAPTURE(bad.value);
        const auto start = std::chrono::steady_clock::now();
        const Answer answer = answer_of(bad);
        const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
        CAPTURE(answer.text);
        CHECK(took.count() < longest);
        CHECK((answer.outcome == Outcome::invalid || answer.outcome == Outcome::file));
        const std::string named =
            bad.value.empty() ? bad.argument : bad.argument + " = " + bad.value + ": ";
        const std::size_t place = answer.text.find(named);
        CHECK(place != std::string::npos);
        CHECK((bad.value.empty() || place == std::string::npos ||
               answer.text.size() > place + named.size() + 8));
        for (const std::string_view raw : raw_texts) {
            CAPTURE(raw);
            CHECK(answer.text.find(raw) == std::string::npos);
        }
    }
}

}  // namespace

TEST_CASE("core refuses bad input") {
    check(core_cases());
}
TEST_CASE("atoms refuse bad input") {
    check(atom_cases());
}
TEST_CASE("kernels refuse bad input") {
    check(kernel_cases());
}
TEST_CASE("optimise refuses bad input") {
    check(optimise_cases());
}
TEST_CASE("dictionary refuses bad input") {
    check(dictionary_cases());
}
TEST_CASE("pursuit refuses bad input") {
    check(pursuit_cases());
}
TEST_CASE("correlate refuses bad input") {
    check(correlate_cases());
}
TEST_CASE("condition refuses bad input") {
    check(condition_cases());
}
TEST_CASE("motion refuses bad input") {
    check(motion_cases());
}
TEST_CASE("synthesis refuses bad input") {
    check(synthesis_cases());
}
TEST_CASE("io refuses bad input") {
    check(io_cases());
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
