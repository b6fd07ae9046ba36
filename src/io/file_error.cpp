#include "echosieve/io/files.hpp"

#include <cstddef>
#include <string>
#include <string_view>

namespace echosieve {
namespace {

// Bytes of the UTF-8 character that `text` starts with; 0 if it starts with none. The shortest
// form alone counts, no halves of surrogate pairs, nothing beyond U+10FFFF.
std::size_t character_length(std::string_view text) {
    const auto byte = [&](std::size_t k) { return static_cast<unsigned char>(text[k]); };
    const unsigned first = byte(0);
    const std::size_t length = first < 0x80                    ? 1
                               : first >= 0xC2 && first < 0xE0 ? 2
                               : first >= 0xE0 && first < 0xF0 ? 3
                               : first >= 0xF0 && first < 0xF5 ? 4
                                                               : 0;
    if (length == 0 || length > text.size()) {
        return 0;
    }
    for (std::size_t k = 1; k < length; ++k) {
        if ((byte(k) & 0xC0U) != 0x80U) {
            return 0;
        }
    }
    const bool refused = (first == 0xE0 && byte(1) < 0xA0) || (first == 0xED && byte(1) >= 0xA0) ||
                         (first == 0xF0 && byte(1) < 0x90) || (first == 0xF4 && byte(1) >= 0x90);
    return refused ? 0 : length;
}

}  // namespace

std::string printable(std::string_view text) {
    constexpr std::string_view digits = "0123456789ABCDEF";
    std::string result;
    while (!text.empty()) {
        const auto first = static_cast<unsigned char>(text.front());
        const std::size_t length = first < 0x20 || first == 0x7F ? 0 : character_length(text);
        if (length > 0) {
            result += text.substr(0, length);
        } else {
            result += {'\\', 'x', digits[first >> 4], digits[first & 15U]};
        }
        text.remove_prefix(length > 0 ? length : 1);
    }
    return result;
}

FileError::FileError(const std::filesystem::path& file, const std::string& problem)
    : std::runtime_error(printable(file.string()) + ": " + problem) {}

}  // namespace echosieve
