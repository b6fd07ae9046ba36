// Options whose values are numbers, read strictly: all of the text, and within limits.
#pragma once

#include <CLI/CLI.hpp>
#include <algorithm>
#include <concepts>
#include <cstdint>
#include <functional>
#include <initializer_list>
#include <limits>
#include <optional>
#include <string>

#include "echosieve/motion/wall_options.hpp"

namespace examples {

/// All of `text` as a finite number. Throws InvalidInput, naming option and text.
[[nodiscard]] double number_in(const std::string& text, const std::string& option);

/// A number, such as 4e6, for `store`. The program's own checks say what is in its domain. Options
/// are stored in the order in which they were added, so that a later one may change what an earlier
/// one has set.
CLI::Option* add_number(CLI::App& app, const std::string& option,
                        const std::function<void(double)>& store, const std::string& text);
CLI::Option* add_number(CLI::App& app, const std::string& option, double& value,
                        const std::string& text);
CLI::Option* add_number(CLI::App& app, const std::string& option, std::optional<double>& value,
                        const std::string& text);

/// Numbers of which nothing needs saying but what they are.
struct NumberOption {
    const char* name;
    double& value;
    const char* text;
};
void add_numbers(CLI::App& app, std::initializer_list<NumberOption> options);

/// Two numbers, from and to.
CLI::Option* add_range(CLI::App& app, const std::string& option, echosieve::DepthRange& value,
                       const std::string& text);

/// Limits of a count, both allowed.
struct CountLimits {
    std::uint64_t least = 1;
    std::uint64_t most = std::numeric_limits<std::uint64_t>::max();
};

/// A whole number within limits, for `store`.
CLI::Option* add_count(CLI::App& app, const std::string& option,
                       const std::function<void(std::uint64_t)>& store, CountLimits limits,
                       const std::string& text);

/// A whole number within limits, which its type can hold.
template <std::integral T>
CLI::Option* add_count(CLI::App& app, const std::string& option, T& value, CountLimits limits,
                       const std::string& text) {
    limits.most = std::min(limits.most, static_cast<std::uint64_t>(std::numeric_limits<T>::max()));
    return add_count(
               app, option, [&value](std::uint64_t count) { value = static_cast<T>(count); },
               limits, text)
        ->default_str(std::to_string(value));
}

}  // namespace examples
