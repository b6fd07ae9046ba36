#include "echosieve/kernels/detail/phasors.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;
using Complex = std::complex<double>;

namespace {

constexpr double pi = std::numbers::pi;
constexpr double eps = epsilon<double>;
// The x87 format's or a wider one's rounding is far below what is asked for here.
using Exact = std::complex<long double>;

std::vector<double> random_delays(std::size_t count, double largest, std::uint64_t seed) {
    RandomStream stream(seed);
    std::vector<double> out(count);
    for (double& x : out) {
        x = largest * (2 * stream.uniform() - 1);
    }
    return out;
}

std::vector<Complex> phasors(const std::vector<double>& delays, const FrequencyRow& row,
                             InstructionSet set) {
    std::vector<Complex> out(delays.size() * row.bins, Complex{7, 7});
    write_phasors(delays, row, out, set);
    return out;
}

// The bound of phasors.hpp.
double bound(const FrequencyRow& row, std::size_t j, double delay) {
    const auto bin = static_cast<double>(j);
    return eps * (2 + 2.2 * static_cast<double>(j % 64) +
                  (std::abs(row.first) + 3 * bin * std::abs(row.step)) * std::abs(delay));
}

}  // namespace

TEST_CASE("phasors are those of the standard library, in every instruction set") {
    // Every count of a register and its rest, and more bins than go without a new start.
    for (const std::size_t count : {1U, 2U, 3U, 5U, 7U, 8U, 9U, 16U, 31U, 100U}) {
        const std::vector<double> delays = random_delays(count, 5e-6, count);
        const FrequencyRow row{2 * pi * 3.1e6, 2 * pi * 0.03e6, 150};
        for (const InstructionSet set : all_instruction_sets) {
            if (!available(set)) {
                continue;
            }
            CAPTURE(describe(set));
            const std::vector<Complex> out = phasors(delays, row, set);
            double largest = 0;
            for (std::size_t j = 0; j < row.bins; ++j) {
                for (std::size_t i = 0; i < count; ++i) {
                    const long double angle =
                        -(static_cast<long double>(row.first) +
                          static_cast<long double>(j) * static_cast<long double>(row.step)) *
                        static_cast<long double>(delays[i]);
                    const Exact exact(std::cos(angle), std::sin(angle));
                    const double error =
                        static_cast<double>(std::abs(Exact(out[i + count * j]) - exact));
                    CHECK(error <= bound(row, j, delays[i]));
                    largest = std::max(largest, error);
                }
            }
            CHECK(largest <= 1e-12);
        }
    }
}

TEST_CASE("a sine and cosine is within a unit of the last place of 1, up to the largest angle") {
    // A step of 0 leaves the sine and cosine alone.
    for (const double largest : {1e-300, 1e-8, 1.0, 30.0, 1e3, 1e6}) {
        std::vector<double> angles = random_delays(20'000, largest, 3);
        angles.insert(angles.end(), {0.0, largest, -largest});
        for (int k = -40; k <= 40; ++k) {  // where sine or cosine is small
            const double near = k * (pi / 4);
            if (std::abs(near) <= largest) {
                angles.push_back(near);
            }
        }
        for (const InstructionSet set : all_instruction_sets) {
            if (!available(set)) {
                continue;
            }
            const std::vector<Complex> out = phasors(angles, {1, 0, 1}, set);
            for (std::size_t i = 0; i < angles.size(); ++i) {
                const auto angle = static_cast<long double>(angles[i]);
                const double c = static_cast<double>(std::abs(out[i].real() - std::cos(angle)));
                const double s = static_cast<double>(std::abs(out[i].imag() + std::sin(angle)));
                REQUIRE(c <= eps);
                REQUIRE(s <= std::min(eps, 4 * eps * std::abs(angles[i])));
            }
        }
    }
}

TEST_CASE("phasors have the same bits in all instruction sets, and every time") {
    const std::vector<double> delays = random_delays(1003, 20e-6, 4);
    const FrequencyRow row{2 * pi * 3e6, 2 * pi * 0.02e6, 70};
    const std::vector<Complex> expected = phasors(delays, row, InstructionSet::baseline);
    for (const InstructionSet set : all_instruction_sets) {
        if (available(set)) {
            CHECK(phasors(delays, row, set) == expected);
            CHECK(phasors(delays, row, set) == expected);
        }
    }
    CHECK(phasors(delays, row, default_instruction_set()) == expected);
    // Nor does it matter which delays are worked on together.
    std::vector<Complex> one(row.bins);
    for (std::size_t i = 0; i < delays.size(); i += 17) {
        write_phasors(std::span(&delays[i], 1), row, one);
        for (std::size_t j = 0; j < row.bins; ++j) {
            CHECK(one[j] == expected[i + delays.size() * j]);
        }
    }
}

TEST_CASE("phasors of what can't be are refused, and nothing is written") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double infinity = std::numeric_limits<double>::infinity();
    std::vector<Complex> out(6, Complex{7, 7});
    const std::vector<double> good{1e-6, 2e-6};
    const FrequencyRow row{1e7, 1e5, 3};
    CHECK_NOTHROW(write_phasors({}, row, {}));
    CHECK_NOTHROW(write_phasors(good, {1e7, 1e5, 0}, {}));
    CHECK_THROWS_AS(write_phasors(good, {1e7, 1e5, 0}, out), InvalidInput);
    CHECK_THROWS_AS(write_phasors(good, row, std::span(out).first(5)), InvalidInput);
    CHECK_THROWS_AS(write_phasors(good, {1e7, 1e5, 2}, out), InvalidInput);
    for (const double bad : {nan, infinity, 0.2, -0.2}) {  // 0.2 s at 1e7 rad/s: beyond 1e6 rad
        const std::vector<double> delays{1e-6, bad};
        CHECK_THROWS_AS(write_phasors(delays, row, out), InvalidInput);
    }
    for (const double bad : {nan, infinity, 1e13}) {
        CHECK_THROWS_AS(write_phasors(good, {bad, 1e5, 3}, out), InvalidInput);
        CHECK_THROWS_AS(write_phasors(good, {1e7, bad, 3}, out), InvalidInput);
    }
    CHECK_THROWS_AS(write_phasors(good, row, out, static_cast<InstructionSet>(17)), InvalidInput);
    CHECK(out == std::vector<Complex>(6, Complex{7, 7}));
}
