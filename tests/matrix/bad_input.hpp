// Bad input to public functions: which, and what its refusal must say.
#pragma once

#include <concepts>
#include <functional>
#include <initializer_list>
#include <limits>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "echosieve/core/error.hpp"

namespace echosieve::test {

inline constexpr double not_a_number = std::numeric_limits<double>::quiet_NaN();
inline constexpr double infinite = std::numeric_limits<double>::infinity();

/// A call that must be refused with InvalidInput, "argument = value: relation", or, of a file, with
/// FileError, which names the file and then the field and its value.
struct BadInput {
    std::string function;
    std::string argument;
    std::string value;  ///< as the refusal gives it; empty where there is none to give
    std::function<void()> call;
};

/// The cases of a room, written down one after the other.
class BadInputs {
public:
    /// One call.
    template <class Value>
    void add(std::string_view function, std::string_view argument, const Value& value,
             std::function<void()> call) {
        all_.push_back({std::string(function), std::string(argument), detail::concatenate(value),
                        std::move(call)});
    }
    /// use(options) with one member changed, once for each of the values.
    template <class Options, class Member, class Use>
    void vary(std::string_view function, std::string_view argument, const Options& good,
              Member Options::*member, std::initializer_list<std::type_identity_t<Member>> values,
              Use use) {
        for (const Member& value : values) {
            Options changed = good;
            changed.*member = value;
            add(function, argument, value, [changed, use] { use(changed); });
        }
    }
    [[nodiscard]] const std::vector<BadInput>& all() const noexcept { return all_; }

private:
    std::vector<BadInput> all_;
};

// The tables, by room.
[[nodiscard]] BadInputs atom_cases();
[[nodiscard]] BadInputs condition_cases();
[[nodiscard]] BadInputs core_cases();
[[nodiscard]] BadInputs correlate_cases();
[[nodiscard]] BadInputs dictionary_cases();
[[nodiscard]] BadInputs io_cases();
[[nodiscard]] BadInputs kernel_cases();
[[nodiscard]] BadInputs motion_cases();
[[nodiscard]] BadInputs optimise_cases();
[[nodiscard]] BadInputs pursuit_cases();
[[nodiscard]] BadInputs synthesis_cases();

}  // namespace echosieve::test
