#include "echosieve/pursuit/stop.hpp"

#include <cmath>
#include <complex>
#include <limits>
#include <vector>

#include "echosieve/pursuit/pursue.hpp"
#include "support/check.hpp"
#include "support/pursuit.hpp"

using namespace echosieve;
using namespace echosieve::test;
using Complex = std::complex<double>;

namespace {

const double alpha = decay_from_bandwidth(1e6);

}  // namespace

// r^2 of Rice 1945 and Davies 1977 for the 4 MHz, 1 MHz sensor; the table is our own calculation.
TEST_CASE("the false-alarm threshold of a continuous lag solves its equation") {
    CHECK_WITHIN(std::sqrt(alpha / (2 * std::numbers::pi)), .753983e6, 1);  // [1/s]
    const double probabilities[] = {.05, .01, 1e-3, 1e-4, 1e-6};
    struct Row {
        double duration;
        double squares[5];
    };
    const Row rows[] = {{1e-6, {8.2447, 11.7538, 16.6238, 21.4242, 30.9256}},
                        {5e-6, {11.1596, 14.6744, 19.5585, 24.3728, 33.8976}},
                        {10e-6, {12.5868, 16.0836, 20.9544, 25.7614, 35.2789}},
                        {40e-6, {15.5117, 18.9714, 23.8112, 28.5993, 38.0948}}};
    const double printed = 6e-5;  // four decimals
    for (const Row& row : rows) {
        for (int k = 0; k < 5; ++k) {
            const double t = false_alarm_threshold(row.duration, alpha, probabilities[k]);
            CHECK_WITHIN(t, row.squares[k], printed);
            const double rate = row.duration * std::sqrt(alpha / (2 * std::numbers::pi));
            const double p = -std::expm1(-(rate * std::sqrt(t) + 1) * std::exp(-t / 2));
            CHECK_WITHIN_RELATIVE(p, probabilities[k], 1e-9);  // dp/p = dt/2, t solved to 1e-13
        }
    }
    // No duration: one cell, E = exp(-r^2 / 2).
    CHECK_WITHIN(false_alarm_threshold(0, alpha, 0.05), -2 * std::log(-std::log(0.95)), 1e-9);
}

// Rates of 40000 runs of our own, seed 99: without spread 0.0491 of 0.05 and 0.0101 of 0.01.
TEST_CASE("noise alone raises as many false alarms as the threshold allows") {
    const SamplingGrid grid{0, 4e6, 52, 4e6};
    const double variance = 0.3;
    const int runs = 4000;
    using Source = EchoSource<Complex, GaussNewton>;
    for (const double spread : {0.0, 0.1, 0.25}) {
        const GaborBox box = GaborBox::around({4e6, 1e6}, spread, {1.5e-6, 11.5e-6});
        Source source(grid, box, GaussNewton{}, 0);
        PursuitEngine<Source> engine;
        PursuitEngine<Source>::Result result;
        std::vector<Complex> noise(grid.count);
        for (const double probability : {0.05, 0.01}) {
            int alarms = 0;
            for (int run = 0; run < runs; ++run) {
                RandomStream stream(77, static_cast<std::uint64_t>(run));
                for (Complex& sample : noise) {
                    sample = std::sqrt(variance) * random_sample<Complex>(stream);
                }
                engine.run(noise, source, Orthogonal{1}, {0, FalseAlarm{variance, probability}},
                           result);
                const bool alarm = result.status == PursuitStatus::atom_count;
                alarms += alarm;
                REQUIRE((alarm || result.status == PursuitStatus::not_significant));
                REQUIRE(result.atoms.size() == (alarm ? 1 : 0));
            }
            const double rate = static_cast<double>(alarms) / runs;
            INFO("spread ", spread, ", asked ", probability, ", found ", rate);
            // Four standard deviations of the count; below, 0.7 besides: the formula takes a box
            // for flat that isn't, and the grid's best atom need not lead to the highest peak.
            const double deviation = std::sqrt(probability * (1 - probability) / runs);
            CHECK(rate <= probability + 4 * deviation);
            CHECK(rate >= 0.7 * probability - 4 * deviation);
        }
    }
}

TEST_CASE("the threshold of a box without spread is that of its arrival alone") {
    const Gate gate{20e-6, 30e-6};
    const GaborBox narrow = GaborBox::around({4e6, 1e6}, 0, gate);
    const GaborBox wide = GaborBox::around({4e6, 1e6}, 0.1, gate);
    for (const double probability : {0.5, 0.05, 1e-6, 1e-300}) {
        // The gate's length and the root of alpha are rounded differently.
        CHECK_WITHIN_RELATIVE(false_alarm_threshold(narrow, probability),
                              false_alarm_threshold(10e-6, alpha, probability), 1e-12);
        CHECK(false_alarm_threshold(wide, probability) >
              false_alarm_threshold(narrow, probability));
    }
    CHECK_WITHIN(false_alarm_threshold(wide, 0.05), 15.3, 0.05);  // the number in the documentation
    CHECK(false_alarm_threshold(0, alpha, 0.9) == 0);             // noise almost always reaches 0
}

TEST_CASE("an echo above the noise passes the same threshold and ends the pursuit after it") {
    const SamplingGrid grid{0, 8e6, 104, 4e6};
    const GaborBox box = GaborBox::around({4e6, 1e6}, 0.1, {1.5e-6, 11.5e-6});
    const double variance = 0.01;
    int exactly_one = 0;
    for (std::uint64_t run = 0; run < 100; ++run) {
        RandomStream stream(5, run);
        std::vector<Complex> samples(grid.count);
        for (Complex& sample : samples) {
            sample = std::sqrt(variance) * random_sample<Complex>(stream);
        }
        add(Echo<Gabor<double>>{{6e-6, 4e6, 1e6}, {1, 0}}, grid, std::span<Complex>(samples));
        const auto result = pursue(Signal<Complex>{samples, grid}, box, Orthogonal{10},
                                   GaussNewton{}, 0, {0, FalseAlarm{variance, 1e-4}});
        REQUIRE(result.usable());
        exactly_one += result.atoms.size() == 1;
        if (result.atoms.size() == 1) {
            CHECK(result.status == PursuitStatus::not_significant);
        }
    }
    CHECK(exactly_one >= 99);  // 1e-4 a run
}

TEST_CASE("the residual's part of the energy ends a pursuit") {
    MatrixDictionary<double> dictionary(Eigen::MatrixXd::Identity(4, 4));
    const Eigen::Vector4d y(8, 4, 2, 1);  // energy 85, left: 21, 5, 1
    const auto atoms = [&](double fraction) {
        const auto result = pursue(span_of(y), dictionary, Orthogonal{4}, {fraction, std::nullopt});
        CHECK(result.status == PursuitStatus::residual_small);
        CHECK(result.residual_energy.back() <= fraction * result.signal_energy);
        return result.atoms.size();
    };
    CHECK(atoms(0.5) == 1);
    CHECK(atoms(0.2) == 2);
    CHECK(atoms(5.0 / 85) == 2);  // reached exactly
    CHECK(atoms(0.05) == 3);
    const auto counted = pursue(span_of(y), dictionary, Orthogonal{2}, {0.01, std::nullopt});
    CHECK(counted.status == PursuitStatus::atom_count);
}

TEST_CASE("a column below the noise ends a pursuit over a matrix") {
    MatrixDictionary<double> dictionary(Eigen::MatrixXd::Identity(4, 4));
    const double threshold = dictionary.false_alarm_threshold(0.01);
    const double edge = std::sqrt(threshold);  // at unit variance
    const Eigen::Vector4d y(9, edge * 1.001, edge * 0.999, 0);
    const auto result = pursue(span_of(y), dictionary, Greedy{4}, {0, FalseAlarm{1, 0.01}});
    CHECK(result.status == PursuitStatus::not_significant);
    CHECK(result.atoms.size() == 2);
}

TEST_CASE("stopping rules that make no sense are refused") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double infinity = std::numeric_limits<double>::infinity();
    for (const double fraction : {-0.1, 1.0, nan}) {
        CHECK_THROWS_AS(validate(Stop{fraction, std::nullopt}), InvalidInput);
    }
    for (const double variance : {0.0, -1.0, nan, infinity}) {
        CHECK_THROWS_AS(validate(Stop{0, FalseAlarm{variance, 0.01}}), InvalidInput);
    }
    for (const double probability : {0.0, 1.0, nan}) {
        CHECK_THROWS_AS(validate(Stop{0, FalseAlarm{1, probability}}), InvalidInput);
        CHECK_THROWS_AS(static_cast<void>(false_alarm_threshold(1e-6, alpha, probability)),
                        InvalidInput);
    }
    for (const double duration : {-1e-6, nan, infinity}) {
        CHECK_THROWS_AS(static_cast<void>(false_alarm_threshold(duration, alpha, 0.01)),
                        InvalidInput);
    }
    CHECK_THROWS_AS(static_cast<void>(false_alarm_threshold(1e-6, 0, 0.01)), InvalidInput);
    CHECK_THROWS_WITH_AS(validate(Stop{2, std::nullopt}),
                         "residual_fraction = 2: must lie in [0, 1)", InvalidInput);
}

TEST_CASE("every status has its words") {
    std::vector<std::string_view> seen;
    for (const PursuitStatus status :
         {PursuitStatus::not_run, PursuitStatus::atom_count, PursuitStatus::residual_small,
          PursuitStatus::not_significant, PursuitStatus::exhausted, PursuitStatus::silent}) {
        CHECK(describe(status) != "unknown");
        CHECK(std::ranges::find(seen, describe(status)) == seen.end());
        seen.push_back(describe(status));
    }
}
