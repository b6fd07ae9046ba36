// Checkers that refuse what a bare Approx lets through: NaN, negative tolerances, values near zero.
#pragma once

#include <doctest/doctest.h>

#include <cmath>
#include <complex>
#include <limits>

namespace echosieve::test {

/// |a - b| <= tolerance, false for NaN on either side or a tolerance that is not a number >= 0.
template <class T, class U>
bool within(const T& a, const U& b, double tolerance) {
    const bool good = tolerance >= 0 && std::abs(a - b) <= tolerance;
    if (!good) {
        INFO("difference ", std::abs(a - b), " exceeds ", tolerance);
    }
    return good;
}

/// |a - b| <= tolerance |b|; where b is exactly 0, a must be.
template <class T, class U>
bool within_relative(const T& a, const U& b, double tolerance) {
    return within(a, b, tolerance * static_cast<double>(std::abs(b)));
}

template <class R>
inline constexpr double epsilon = static_cast<double>(std::numeric_limits<R>::epsilon());

}  // namespace echosieve::test

/// Checks |a - b| <= tolerance and prints the numbers.
#define CHECK_WITHIN(a, b, tolerance)                                                      \
    do {                                                                                   \
        const auto check_a = (a);                                                          \
        const auto check_b = (b);                                                          \
        const double check_tolerance = (tolerance);                                        \
        const double check_difference = static_cast<double>(std::abs(check_a - check_b));  \
        INFO(#a " = ", check_a, ", expected ", check_b, ", difference ", check_difference, \
             ", tolerance ", check_tolerance);                                             \
        CHECK(::echosieve::test::within(check_a, check_b, check_tolerance));               \
    } while (false)

/// Checks |a - b| <= tolerance |b| and prints the numbers.
#define CHECK_WITHIN_RELATIVE(a, b, tolerance) \
    CHECK_WITHIN(a, b, (tolerance) * static_cast<double>(std::abs(b)))
