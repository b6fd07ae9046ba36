// Which random numbers a line has of its own, where several lie over one artery.
#pragma once

#include <cstdint>

#include "echosieve/core/random.hpp"

namespace echosieve::detail {

// Lines' streams lie this far apart, as a power of two: no recording has as many frames, and 256
// lines leave a seed's last streams, from which scenes are drawn, free.
inline constexpr int line_stream_bits = 48;

/// Line `line`'s own stream in the place of `stream` of the first line, number 0.
[[nodiscard]] constexpr std::uint64_t line_stream(std::uint64_t line,
                                                  std::uint64_t stream) noexcept {
    return stream + (line << line_stream_bits);  // the last streams wrap around, by design
}

/// The number of a scene's line: 0 for scenes that know no lines.
template <class Options>
[[nodiscard]] constexpr std::uint64_t line_of(const Options& options) noexcept {
    if constexpr (requires { options.line; }) {
        return options.line;
    } else {
        return 0;
    }
}

/// The pulse's delay at a scene's line [s].
template <class Options>
[[nodiscard]] constexpr double line_delay_of(const Options& options) noexcept {
    if constexpr (requires { options.line_delay; }) {
        return options.line_delay;
    } else {
        return 0;
    }
}

/// For what is drawn after numbers that all lines have in common: the first line goes on with the
/// common stream, so that its recordings are those of a single line.
[[nodiscard]] inline RandomStream own_numbers(std::uint64_t seed, std::uint64_t line,
                                              std::uint64_t stream, const RandomStream& common) {
    return line == 0 ? common : RandomStream(seed, line_stream(line, stream));
}

}  // namespace echosieve::detail
