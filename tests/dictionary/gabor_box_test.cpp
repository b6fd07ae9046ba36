#include "echosieve/dictionary/atom_box.hpp"

#include <array>
#include <limits>

#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;
using echosieve::test::epsilon;

namespace {

constexpr Sensor sensor{4e6, 1e6};
constexpr Gate gate{20e-6, 30e-6};

}  // namespace

TEST_CASE("a box around a sensor spreads frequency and bandwidth and keeps the gate") {
    const GaborBox box = GaborBox::around(sensor, 0.10, gate);
    const double rounding = 4 * epsilon<double>;  // one product each
    CHECK(box.arrival == gate);
    CHECK_WITHIN_RELATIVE(box.centre_frequency.lower, 3.6e6, rounding);
    CHECK_WITHIN_RELATIVE(box.centre_frequency.upper, 4.4e6, rounding);
    CHECK_WITHIN_RELATIVE(box.bandwidth.lower, 0.9e6, rounding);
    CHECK_WITHIN_RELATIVE(box.bandwidth.upper, 1.1e6, rounding);
    validate(box);
    const GaborBox fixed = GaborBox::around(sensor, 0, {25e-6, 25e-6});
    CHECK(fixed.centre_frequency == Interval{4e6, 4e6});
    CHECK(fixed.arrival.length() == 0);
    validate(fixed);
}

TEST_CASE_TEMPLATE("the unit cube covers the box and nothing else", R, float, double) {
    const GaborBox box = GaborBox::around(sensor, 0.10, gate);
    const Box<R> cube = box.unit_box<R>();
    CHECK(cube.dimension() == 3);
    const std::array<R, 3> zero{0, 0, 0};
    const std::array<R, 3> one{1, 1, 1};
    CHECK(box.atom<R>(zero) ==
          Gabor<double>{20e-6, box.centre_frequency.lower, box.bandwidth.lower});
    CHECK(box.atom<R>(one) ==
          Gabor<double>{30e-6, box.centre_frequency.upper, box.bandwidth.upper});
    const double rounding = 16 * epsilon<R>;  // a subtraction of numbers up to 5 widths, a division
    RandomStream stream(11);
    for (int k = 0; k < 1000; ++k) {
        const std::array<R, 3> x{stream.uniform<R>(), stream.uniform<R>(), stream.uniform<R>()};
        const Gabor<double> atom = box.atom<R>(x);
        REQUIRE(box.contains(atom));
        std::array<R, 3> back{};
        box.to_unit<R>(atom, back);
        for (std::size_t d = 0; d < 3; ++d) {
            CHECK_WITHIN(back[d], x[d], rounding);
        }
    }
    // A range without width: any coordinate gives the one value.
    const GaborBox fixed = GaborBox::around(sensor, 0, gate);
    const std::array<R, 3> middle{R(0.5), R(0.3), R(0.9)};
    CHECK(fixed.atom<R>(middle).centre_frequency == 4e6);
    std::array<R, 3> unit{9, 9, 9};
    fixed.to_unit<R>({25e-6, 5e6, 2e6}, unit);
    CHECK(unit[1] == 0);
    CHECK(unit[2] == 0);
}

TEST_CASE("an atom outside is clamped to the nearest side") {
    const GaborBox box = GaborBox::around(sensor, 0.10, gate);
    const Gabor<double> outside{10e-6, 9e6, 0.1e6};
    CHECK_FALSE(box.contains(outside));
    CHECK(box.clamped(outside) ==
          Gabor<double>{20e-6, box.centre_frequency.upper, box.bandwidth.lower});
    CHECK(box.clamped({40e-6, 1e6, 3e6}) ==
          Gabor<double>{30e-6, box.centre_frequency.lower, box.bandwidth.upper});
    const Gabor<double> inside{25e-6, 4e6, 1e6};
    CHECK(box.clamped(inside) == inside);
    std::array<double, 3> unit{};
    box.to_unit<double>(outside, unit);
    CHECK(unit == std::array<double, 3>{0, 1, 0});
}

TEST_CASE("boxes that make no sense are refused") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double infinity = std::numeric_limits<double>::infinity();
    for (const double spread : {-0.1, 1.0, nan, infinity}) {
        CHECK_THROWS_AS(static_cast<void>(GaborBox::around(sensor, spread, gate)), InvalidInput);
    }
    CHECK_THROWS_AS(static_cast<void>(GaborBox::around({0, 1e6}, 0.1, gate)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(GaborBox::around(sensor, 0.1, {2e-6, 1e-6})), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(GaborBox::around(sensor, 0.1, {nan, 1e-6})), InvalidInput);
    GaborBox box = GaborBox::around(sensor, 0.1, gate);
    box.bandwidth.lower = 0;
    CHECK_THROWS_AS(validate(box), InvalidInput);
    box = GaborBox::around(sensor, 0.1, gate);
    box.centre_frequency.upper = 3e6;
    CHECK_THROWS_WITH_AS(
        validate(box), "centre_frequency.upper = 3000000: must be finite and not below lower [Hz]",
        InvalidInput);
    box = GaborBox::around(sensor, 0.1, gate);
    box.bandwidth.upper = infinity;
    CHECK_THROWS_AS(validate(box), InvalidInput);
}
