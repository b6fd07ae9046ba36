#include "echosieve/core/grid.hpp"

#include <limits>
#include <string>
#include <vector>

#include "echosieve/core/detail/signal.hpp"
#include "support/check.hpp"

using namespace echosieve;

TEST_CASE("time and index of a grid undo each other") {
    const SamplingGrid grid{9.1e-6, 125e6, 2435, 4e6};
    CHECK(grid.time(0) == 9.1e-6);
    CHECK_WITHIN_RELATIVE(grid.time(2434), 9.1e-6 + 2434 * 8e-9, 2 * test::epsilon<double>);
    CHECK(grid.end_time() == grid.time(2434));
    CHECK(grid.step() == 8e-9);
    for (const double index : {0.0, 0.25, 17.0, 2434.0, 1e6, -3.5}) {
        // The time's rounding, counted in steps.
        CHECK_WITHIN(grid.index(grid.time(index)), index,
                     4 * test::epsilon<double> * (9.1e-6 * 125e6 + std::abs(index)));
    }
}

TEST_CASE("a part of a grid keeps times, rate and mixing frequency") {
    const SamplingGrid grid{9.1e-6, 125e6, 2435, 4e6};
    const SamplingGrid part = grid.part(100, 50);
    CHECK(part.count == 50);
    CHECK(part.sampling_rate == 125e6);
    CHECK(part.mixing_frequency == 4e6);
    CHECK_WITHIN_RELATIVE(part.time(7), grid.time(107), 2 * test::epsilon<double>);
    CHECK(grid.part(0, 2435) == grid);
}

TEST_CASE("an empty grid ends a step before it starts") {
    const SamplingGrid grid{1, 2, 0, 0};
    CHECK(grid.end_time() == 0.5);
    CHECK_NOTHROW(validate(grid));
}

TEST_CASE("grids that are none are refused with their value") {
    CHECK_THROWS_WITH_AS(validate(SamplingGrid{0, 0, 1, 0}),
                         "sampling_rate = 0: must be positive and finite [Hz]", InvalidInput);
    CHECK_THROWS_WITH_AS(validate(SamplingGrid{0, -5, 1, 0}),
                         "sampling_rate = -5: must be positive and finite [Hz]", InvalidInput);
    for (const double bad :
         {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity(),
          -std::numeric_limits<double>::infinity()}) {
        CHECK_THROWS_AS(validate(SamplingGrid{bad, 1, 1, 0}), InvalidInput);
        CHECK_THROWS_AS(validate(SamplingGrid{0, bad, 1, 0}), InvalidInput);
        CHECK_THROWS_AS(validate(SamplingGrid{0, 1, 1, bad}), InvalidInput);
    }
}

TEST_CASE("a gate contains its ends, and no NaN") {
    const Gate gate{2, 3};
    CHECK(gate.length() == 1);
    CHECK(gate.centre() == 2.5);
    CHECK(gate.contains(2));
    CHECK(gate.contains(3));
    CHECK_FALSE(gate.contains(std::nextafter(3.0, 4.0)));
    CHECK_FALSE(gate.contains(std::nextafter(2.0, 1.0)));
    CHECK_FALSE(gate.contains(std::nan("")));
    CHECK_NOTHROW(validate(Gate{1, 1}));
    CHECK_THROWS_WITH_AS(validate(Gate{1, 0.5}),
                         "gate.end = 0.5: must be finite and not before gate.begin [s]",
                         InvalidInput);
    CHECK_THROWS_WITH_AS(validate(Gate{std::nan(""), 1}), "gate.begin = nan: must be finite [s]",
                         InvalidInput);
    CHECK_THROWS_AS(validate(Gate{0, std::nan("")}), InvalidInput);
    CHECK_THROWS_AS(validate(Gate{0, std::numeric_limits<double>::infinity()}), InvalidInput);
}

TEST_CASE("a sample range counts its samples") {
    static_assert(SampleRange{3, 7}.count() == 4);
    static_assert(SampleRange{}.count() == 0);
    CHECK(SampleRange{1, 2} == SampleRange{1, 2});
}

TEST_CASE_TEMPLATE("a signal is refused for its size, a sample that is not finite, or mixing", T,
                   float, double, std::complex<float>, std::complex<double>) {
    std::vector<T> samples{1, 2, 3};
    Signal<T> signal{samples, {0, 1, 3, 0}};
    CHECK_NOTHROW(validate(signal));
    signal.grid.count = 2;
    CHECK_THROWS_WITH_AS(validate(signal), "number of samples = 3: must equal the grid's count, 2",
                         InvalidInput);
    signal.grid.count = 3;
    signal.grid.mixing_frequency = 4e6;
    if constexpr (is_complex<T>) {
        CHECK_NOTHROW(validate(signal));
        samples[1] = T(0, std::numeric_limits<RealOf<T>>::infinity());
        CHECK_THROWS_AS(validate(signal), InvalidInput);
    } else {
        CHECK_THROWS_WITH_AS(validate(signal),
                             "mixing_frequency = 4000000: must be 0 for real samples [Hz]",
                             InvalidInput);
        signal.grid.mixing_frequency = 0;
    }
    samples[1] = std::numeric_limits<RealOf<T>>::quiet_NaN();
    try {
        validate(signal);
        FAIL("a NaN was taken");
    } catch (const InvalidInput& error) {
        CHECK(std::string(error.what()).starts_with("sample 1 = "));
    }
    CHECK_NOTHROW(validate(Signal<T>{{}, {0, 1, 0, 0}}));
}
