#include "echosieve/atoms/sampling.hpp"

#include <cmath>
#include <complex>
#include <limits>
#include <vector>

#include "echosieve/atoms/detail/recurrence.hpp"
#include "echosieve/atoms/inner_product.hpp"
#include "support/check.hpp"

using namespace echosieve;
using echosieve::test::epsilon;

namespace {

const SamplingGrid rf{.start_time = 12e-6, .sampling_rate = 125e6, .count = 1000};
const SamplingGrid baseband{
    .start_time = 12e-6, .sampling_rate = 8e6, .count = 64, .mixing_frequency = 4e6};

// What sampling leaves out: exp(-45) of the peak, and the value's rounding at up to 15 turns from
// the arrival and, with a mixing frequency, 80 turns from time zero.
constexpr double sampling_error = 10 * 100 * epsilon<double>;

template <class R>
double tolerance() {
    return sampling_error + (sizeof(R) < sizeof(double) ? 2 * epsilon<R> : 0);
}

template <Real R>
ChirpedGabor<R> chirp() {
    return {static_cast<R>(15.1e-6), R(4.1e6), R(1e6), R(3e11)};
}

}  // namespace

TEST_CASE_TEMPLATE("samples are the values at the grid's times", R, float, double) {
    std::vector<std::complex<R>> out(rf.count, {99, 99});
    sample(chirp<R>(), rf, std::span(out));
    for (std::size_t i = 0; i < rf.count; ++i) {
        CHECK_WITHIN(out[i], value(chirp<R>(), rf.time(static_cast<double>(i))), tolerance<R>());
    }
}

TEST_CASE_TEMPLATE("baseband samples are mixed down in absolute time", R, float, double) {
    std::vector<std::complex<R>> out(baseband.count);
    sample(chirp<R>(), baseband, std::span(out));
    for (std::size_t i = 0; i < baseband.count; ++i) {
        const double time = baseband.time(static_cast<double>(i));
        const std::complex<double> g = value(chirp<R>(), time);
        CHECK_WITHIN(std::complex<double>(out[i]), g * unit_phasor(-4e6 * time), tolerance<R>());
    }
}

TEST_CASE_TEMPLATE("adding and taking away echoes", R, float, double) {
    const Echo<ChirpedGabor<R>> echo{chirp<R>(), {R{0.5}, R{-1.5}}};
    std::vector<R> real(rf.count, R{2});
    std::vector<std::complex<R>> analytic(rf.count, {R{1}, R{1}});
    add(echo, rf, std::span(real), R{3});
    add(echo, rf, std::span(analytic));
    for (std::size_t i = 0; i < rf.count; i += 7) {
        const double time = rf.time(static_cast<double>(i));
        CHECK_WITHIN(real[i], 2 + 3 * real_value(echo, time), 8 * tolerance<R>());
        CHECK_WITHIN(analytic[i], std::complex<R>(1, 1) + value(echo, time), 8 * tolerance<R>());
    }
    add(echo, rf, std::span(real), R{-3});
    add(echo, rf, std::span(analytic), R{-1});
    for (std::size_t i = 0; i < rf.count; ++i) {
        // Two sums, each rounded at up to 7.
        CHECK_WITHIN(real[i], R{2}, 8 * epsilon<R>);
        CHECK_WITHIN(analytic[i], std::complex<R>(1, 1), 8 * epsilon<R>);
    }
}

// The trapezoidal rule converges beyond any power for a Gaussian that the grid holds whole.
TEST_CASE("energy of the samples is the energy in closed form") {
    const Gabor<double> atom{16e-6, 4e6, 1e6};
    std::vector<std::complex<double>> out(rf.count);
    sample(atom, rf, std::span(out));
    double sum = 0;
    for (const auto& x : out) {
        sum += std::norm(x);
    }
    CHECK_WITHIN_RELATIVE(sum / rf.sampling_rate, energy(atom), 1e-13);
}

TEST_CASE("the support holds all that is above 45 nepers down, and no more") {
    const Gabor<double> atom{16.0037e-6, 4e6, 1e6};
    const SampleRange range = support(atom, rf);
    const double edge = std::exp(-negligible_nepers);
    for (std::size_t i = 0; i < rf.count; ++i) {
        const double size = std::abs(value(atom, rf.time(static_cast<double>(i))));
        CHECK((size >= edge) == (i >= range.first && i < range.last));
    }
}

TEST_CASE("supports at and beyond the grid's ends") {
    const auto length = [](const Gabor<double>& atom, const SamplingGrid& grid) {
        const SampleRange range = support(atom, grid);
        CHECK(range.last <= grid.count);
        return range.first < range.last ? range.last - range.first : 0;
    };
    CHECK(length({1.0, 4e6, 1e6}, rf) == 0);
    CHECK(length({-1.0, 4e6, 1e6}, rf) == 0);
    CHECK(length({1e300, 4e6, 1e6}, rf) == 0);
    CHECK(length({16e-6, 4e6, 1e-3}, rf) == rf.count);
    CHECK(length({12e-6, 4e6, 1e6}, rf.part(0, 1)) == 1);
    CHECK(length({12e-6, 4e6, 1e6}, rf.part(0, 0)) == 0);
    // Between two samples, and shorter than the step.
    CHECK(length({12e-6 + 4e-9, 4e6, 1e11}, rf) == 0);
}

TEST_CASE("the support of what is no atom, or on what is no grid, lies within the samples") {
    constexpr double nan = std::numeric_limits<double>::quiet_NaN();
    constexpr double infinity = std::numeric_limits<double>::infinity();
    const auto within = [](const Gabor<double>& atom, const SamplingGrid& grid) {
        const SampleRange range = support(atom, grid);
        return range.first <= range.last && range.last <= grid.count;
    };
    const Gabor<double> atom{14e-6, 4e6, 1e6};
    for (const double odd : {nan, -nan, infinity, -infinity, 0.0, -1.0}) {
        CAPTURE(odd);
        CHECK(within({odd, 4e6, 1e6}, rf));
        CHECK(within({14e-6, 4e6, odd}, rf));
        CHECK(within(atom, {odd, 125e6, 1000}));
        CHECK(within(atom, {12e-6, odd, 1000}));
    }
}

TEST_CASE("outputs of the wrong size, and real samples of a mixed grid, are refused") {
    std::vector<std::complex<double>> complex_out(999);
    std::vector<double> out(64);
    const Echo<Gabor<double>> echo{{16e-6, 4e6, 1e6}, {1, 0}};
    CHECK_THROWS_AS(sample(echo.atom, rf, std::span(complex_out)), InvalidInput);
    CHECK_THROWS_AS(add(echo, rf, std::span(complex_out)), InvalidInput);
    CHECK_THROWS_AS(add(echo, baseband, std::span(out)), InvalidInput);
}

TEST_CASE("the recurrence is the atom, within its bound") {
    const auto worst = [](const auto& atom, const SamplingGrid& grid) {
        std::vector<std::complex<double>> direct(grid.count);
        sample(atom, grid, std::span(direct));
        const SampleRange range = support(atom, grid);
        double largest = 0;
        std::size_t next = range.first;
        for_each_by_recurrence(
            atom, grid, range, [&](std::size_t n, double u, double re, double im) {
                CHECK(n == next++);
                CHECK_WITHIN(
                    u, (grid.time(static_cast<double>(n)) - atom.arrival) * grid.sampling_rate,
                    1e-9);
                largest = std::max(largest, std::abs(std::complex<double>(re, im) - direct[n]));
            });
        CHECK(next == range.last);
        return largest;
    };
    const auto bound = [](const auto& atom, const SamplingGrid& grid) {
        const SampleRange range = support(atom, grid);
        return recurrence_error(range.last - range.first) + sampling_error;
    };
    const ChirpedGabor<double> narrow{15.9e-6, 3.9e6, 0.3e6, 1e10};
    const ChirpedGabor<double> wide{13.3e-6, 10e6, 6e6, 5e12};
    for (const auto& grid : {rf, baseband}) {
        for (const auto& atom : {chirp<double>(), narrow, wide}) {
            CHECK(worst(atom, grid) <= bound(atom, grid));
        }
        CHECK(worst(Gabor<double>{12.01e-6, 4e6, 1e6}, grid) <=
              bound(Gabor<double>{12.01e-6, 4e6, 1e6}, grid));
    }
    bool called = false;
    for_each_by_recurrence(narrow, rf, {5, 5}, [&](auto...) { called = true; });
    CHECK(!called);
}
