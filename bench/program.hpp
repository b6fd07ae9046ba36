// What the programs that compare share: their arguments, and medians of what they measure.
#pragma once

#include <algorithm>
#include <charconv>
#include <cstddef>
#include <cstdio>
#include <cstdlib>
#include <string_view>
#include <system_error>
#include <vector>

namespace bench {

/// Argument number k, `otherwise` if there are fewer. Ends the program if it is no whole number.
[[nodiscard]] inline std::size_t number_argument(int count, char** arguments, int k,
                                                 std::size_t otherwise) {
    if (count <= k) {
        return otherwise;
    }
    const std::string_view text(arguments[k]);
    std::size_t out = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), out);
    if (error != std::errc{} || end != text.data() + text.size()) {
        std::fprintf(stderr, "argument %d = %s: must be a whole number\n", k, arguments[k]);
        std::exit(2);
    }
    return out;
}

/// The middle one; of an even number the upper of both in the middle.
[[nodiscard]] inline double median(std::vector<double> x) {
    std::ranges::sort(x);
    return x[x.size() / 2];
}

}  // namespace bench
