// Where a condition ends that holds at one end of a range and not at the other.
#pragma once

namespace echosieve::detail {

/// What is looked for lies between.
struct Bracket {
    double low;   ///< the condition holds here,
    double high;  ///< and here it does not
};

/// The bracket, halved so many times. Boost.Math's is the same, but its header costs each user's
/// file a third of a second.
template <class Holds>
[[nodiscard]] constexpr Bracket bisect(Bracket within, int halvings, Holds holds) {
    for (int k = 0; k < halvings; ++k) {
        const double middle = (within.low + within.high) / 2;
        (holds(middle) ? within.low : within.high) = middle;
    }
    return within;
}

}  // namespace echosieve::detail
