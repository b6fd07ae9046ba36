// The outer bounds of options, for what has no nearer one of its own: beyond them is a slip of unit
// or a number that would only cost memory and time.
#pragma once

#include <string_view>

#include "echosieve/core/error.hpp"

namespace echosieve {

namespace largest_option {

inline constexpr double length = 1;       ///< along a line: gates, zones, diameters, reaches [m]
inline constexpr double time = 100;       ///< along frames: smoothings, windows, lags, gaps [s]
inline constexpr double frequency = 1e3;  ///< of what moves: cutoffs of slow time [Hz]
inline constexpr double factor = 1e12;    ///< ratios, evidences and other pure numbers
inline constexpr int rounds = 1000;       ///< iterations, reweightings

}  // namespace largest_option

/// Gates, and depths tried, that lie closer hold the same echoes [m].
inline constexpr double closest_gates = 1e-4;

namespace detail {

/// Throws InvalidInput("name = value: must not exceed limit unit") if it does, or for a NaN. The
/// text is put together only then.
template <class Value>
void require_at_most(const Value& value, Value limit, std::string_view name,
                     std::string_view unit = "") {
    if (!(value <= limit)) {
        require(false, name, value,
                concatenate("must not exceed ", limit, unit.empty() ? "" : " ", unit));
    }
}

}  // namespace detail

}  // namespace echosieve
