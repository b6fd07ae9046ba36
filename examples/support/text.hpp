// Numbers in sentences and tables.
#pragma once

#include <array>
#include <cstdio>
#include <string>

namespace examples {

/// As printf writes it, up to 500 characters.
template <class... Values>
[[nodiscard]] std::string text_of(const char* format, Values... values) {
    std::array<char, 500> text{};
    std::snprintf(text.data(), text.size(), format, values...);
    return text.data();
}

}  // namespace examples
