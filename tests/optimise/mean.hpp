// Means of draws, with their standard errors.
#pragma once

#include <algorithm>
#include <cmath>

#include "support/check.hpp"

namespace echosieve::test {

struct Mean {
    double sum = 0;
    double squares = 0;
    double count = 0;
    void add(double x) {
        sum += x;
        squares += x * x;
        ++count;
    }
    double value() const { return sum / count; }
    double standard_error() const {
        return std::sqrt(std::max(0.0, squares / count - value() * value()) / count);
    }
};

/// In standard errors: the seeds are fixed, so there is no run to run luck; another system's last
/// bits draw anew, and go beyond it once in two million checks.
inline constexpr double deviations = 5;

}  // namespace echosieve::test

/// Checks that the mean of draws is `expected`, and that its standard error is below `telling`.
#define CHECK_MEAN(mean, expected, telling)                                       \
    do {                                                                          \
        const ::echosieve::test::Mean& check_mean = (mean);                       \
        CHECK_WITHIN(check_mean.value(), expected,                                \
                     ::echosieve::test::deviations* check_mean.standard_error()); \
        CHECK(check_mean.standard_error() < (telling));                           \
    } while (false)
