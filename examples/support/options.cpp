#include "support/options.hpp"

#include <charconv>
#include <cmath>
#include <system_error>

#include "echosieve/core/error.hpp"
#include "echosieve/io/files.hpp"

namespace examples {
namespace {

using echosieve::require;
using echosieve::detail::concatenate;

// Whether `text` is a number of the type from its first to its last character.
template <class T>
bool read_all(const std::string& text, T& value) {
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    return error == std::errc{} && end == text.data() + text.size() && !text.empty();
}

CLI::Option* add_values(CLI::App& app, const std::string& option, CLI::callback_t take,
                        const std::string& text) {
    return app.add_option(option, std::move(take), text)->type_name("NUMBER");
}

}  // namespace

double number_in(const std::string& text, const std::string& option) {
    double value = 0;
    require(read_all(text, value) && std::isfinite(value), option, echosieve::printable(text),
            "must be a finite number, such as 0.012 or 4e6");
    return value;
}

CLI::Option* add_number(CLI::App& app, const std::string& option,
                        const std::function<void(double)>& store, const std::string& text) {
    return add_values(
        app, option,
        [store, option](const CLI::results_t& given) {
            store(number_in(given.at(0), option));
            return true;
        },
        text);
}

CLI::Option* add_number(CLI::App& app, const std::string& option, double& value,
                        const std::string& text) {
    return add_number(
               app, option, [&value](double number) { value = number; }, text)
        ->default_str(concatenate(value));
}

CLI::Option* add_number(CLI::App& app, const std::string& option, std::optional<double>& value,
                        const std::string& text) {
    return add_number(
        app, option, [&value](double number) { value = number; }, text);
}

void add_numbers(CLI::App& app, std::initializer_list<NumberOption> options) {
    for (const NumberOption& option : options) {
        add_number(app, option.name, option.value, option.text);
    }
}

CLI::Option* add_range(CLI::App& app, const std::string& option, echosieve::DepthRange& value,
                       const std::string& text) {
    return add_values(
               app, option,
               [&value, option](const CLI::results_t& given) {
                   value = {number_in(given.at(0), option), number_in(given.at(1), option)};
                   require(value.from < value.to, option, given[0] + " " + given[1],
                           "the first must be below the second");
                   return true;
               },
               text)
        ->expected(2);
}

CLI::Option* add_count(CLI::App& app, const std::string& option,
                       const std::function<void(std::uint64_t)>& store, CountLimits limits,
                       const std::string& text) {
    return app
        .add_option(
            option,
            [store, option, limits](const CLI::results_t& given) {
                std::uint64_t count = 0;
                require(
                    read_all(given.at(0), count) && count >= limits.least && count <= limits.most,
                    option, echosieve::printable(given.at(0)),
                    concatenate("must be a whole number from ", limits.least, " to ", limits.most));
                store(count);
                return true;
            },
            text)
        ->type_name("COUNT");
}

}  // namespace examples
