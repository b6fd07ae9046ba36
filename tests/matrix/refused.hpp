// Whether bad input is refused as it must be.
#pragma once

#include <doctest/doctest.h>

#include <chrono>
#include <cstddef>
#include <exception>
#include <string>
#include <string_view>

#include "echosieve/core/error.hpp"
#include "echosieve/io/files.hpp"
#include "matrix/bad_input.hpp"

namespace echosieve::test {

// What a refusal takes: a millisecond. A thousand times that is left for a slow machine with
// sanitisers; ten seconds would be a hang.
inline constexpr double longest = 10;  // [s]

// Text of the standard library, the JSON parser and Eigen, which says nothing of the input.
inline constexpr std::string_view raw_texts[] = {"std::",   "vector::", "basic_string", "bad_alloc",
                                                 "stod",    "stoi",     "json.",        "Eigen",
                                                 "what():", "assert"};

enum class Outcome { accepted, invalid, file, other };

struct Answer {
    Outcome outcome = Outcome::accepted;
    std::string text;
};

inline Answer answer_of(const BadInput& bad) {
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

/// Checks that each is refused at once, in a sentence that names argument and value.
inline void check_refused(const BadInputs& cases) {
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

}  // namespace echosieve::test
