#include "echosieve/kernels/detail/recurrence_row.hpp"

#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <vector>

#include "echosieve/core/error.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr double alpha = 3e-4;  // of the Gaussian, a sample
constexpr double turn = 0.2;    // [rad] a sample
constexpr double middle = 180;  // [samples]

std::complex<double> exact(double n) {
    const double u = n - middle;
    return std::exp(-alpha * u * u) * std::polar(2.0, 0.7 + turn * u);
}

SampleRecurrence recurrence() {
    return {exact(0), std::exp(-alpha * (1 - 2 * middle)) * std::polar(1.0, turn),
            std::exp(-2 * alpha)};
}

}  // namespace

TEST_CASE("samples by recurrence are those of the formula, in every instruction set") {
    for (const InstructionSet set : all_instruction_sets) {
        if (!available(set)) {
            continue;
        }
        CAPTURE(describe(set));
        for (const std::size_t count : {1U, 3U, 8U, 17U, 361U}) {
            std::vector<float> row(count, 1.0F);
            add_recurrence(recurrence(), row, set);
            for (std::size_t n = 0; n < count; ++n) {
                const double expected = 1 + exact(static_cast<double>(n)).real();
                // A float's rounding of numbers up to 3; the recurrence's own is below 1e-11.
                CHECK_WITHIN(static_cast<double>(row[n]), expected, 4e-7);
            }
        }
        add_recurrence(recurrence(), {}, set);
    }
}

TEST_CASE("a set that is not there is refused, and so are numbers that are not finite") {
    std::vector<float> row(4);
    for (const double bad :
         {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity()}) {
        CHECK_THROWS_AS(add_recurrence({{0, bad}, 1, 1}, row), InvalidInput);
        CHECK_THROWS_AS(add_recurrence({1, {bad, 0}, 1}, row), InvalidInput);
        CHECK_THROWS_AS(add_recurrence({1, 1, bad}, row), InvalidInput);
    }
    CHECK(row == std::vector<float>(4));
    CHECK_THROWS_AS(add_recurrence(recurrence(), row, static_cast<InstructionSet>(17)),
                    InvalidInput);
}
