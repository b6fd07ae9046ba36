// One exception for every input that the library refuses: it carries the value and the limit in its
// text.
#pragma once

#include <sstream>
#include <stdexcept>
#include <string>
#include <string_view>

#include "echosieve/core/detail/api.hpp"

namespace echosieve {

/// Thrown for every refused input: what() names the quantity, its value and the relation it breaks.
class ECHOSIEVE_EXPORT InvalidInput : public std::invalid_argument {
public:
    using std::invalid_argument::invalid_argument;
};

namespace detail {

template <class... Parts>
[[nodiscard]] std::string concatenate(const Parts&... parts) {
    std::ostringstream text;
    text.precision(9);
    (text << ... << parts);
    return text.str();
}

}  // namespace detail

/// Throws InvalidInput("name = value: relation") unless `holds`.
/// Write the comparison so that it is false for NaN: require(x > 0, ...), not require(!(x <= 0),
/// ...).
template <class Value>
void require(bool holds, std::string_view name, const Value& value, std::string_view relation) {
    if (!holds) {
        throw InvalidInput(detail::concatenate(name, " = ", value, ": ", relation));
    }
}

}  // namespace echosieve
