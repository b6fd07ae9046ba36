// The fast path as a whole: against the converged fit, the engine, and its own echoes written out.
#include "echosieve/pursuit/fast_pursuit.hpp"

#include <cmath>
#include <complex>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numbers>
#include <optional>
#include <span>
#include <vector>

#include "echosieve/atoms/echo_limits.hpp"
#include "echosieve/pursuit/joint_fit.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "support/check.hpp"
#include "support/echoes.hpp"

using namespace echosieve;
using namespace echosieve::test;
using Complex = std::complex<double>;

namespace {

constexpr SamplingGrid grid{20e-6, 125e6 / 15, 44, 4e6};
const GaborBox box = GaborBox::around({4e6, 1e6}, 0.10, {20e-6, 25.16e-6});

Echo<Gabor<double>> random_echo(RandomStream& stream, double first, double last) {
    const auto spread = [&] { return 0.9 + 0.2 * stream.uniform(); };
    return {{first + (last - first) * stream.uniform(), 4e6 * spread(), 1e6 * spread()},
            std::polar(0.2 + 0.8 * stream.uniform(), 6.28 * stream.uniform())};
}

template <class R>
std::vector<std::complex<R>> crowded(std::uint64_t seed, double noise = 0.02) {
    RandomStream stream(seed);
    std::vector<Echo<Gabor<double>>> echoes;
    for (int k = 0; k < 10; ++k) {
        echoes.push_back(random_echo(stream, 20e-6, 25.16e-6));
    }
    return noisy_echoes<std::complex<R>>(echoes, grid, noise, stream);
}

// Weighted energy of what the echoes leave.
template <class R>
double left_over(const std::vector<std::complex<R>>& samples, const SamplingGrid& at,
                 const std::vector<Echo<Gabor<double>>>& echoes,
                 const std::vector<double>& weights = {}) {
    std::vector<Complex> left(samples.begin(), samples.end());
    for (const auto& echo : echoes) {
        add(echo, at, std::span<Complex>(left), -1.0);
    }
    double sum = 0;
    for (std::size_t n = 0; n < left.size(); ++n) {
        sum += (weights.empty() ? 1 : weights[n]) * std::norm(left[n]);
    }
    return sum;
}

}  // namespace

TEST_CASE_TEMPLATE("one echo at 20 dB is the converged fit's, to a tenth of the bound", R, float,
                   double) {
    // 0.1 a raw sample of 125 MHz, one in 15 of which is kept: the noise of the band is the same.
    const double deviation =
        0.1 * std::sqrt(2 * 2.0 / 15);  // E |n|^2 to E n^2, doubled in baseband
    FastPursuit<R> fast(grid, box, {.atoms = 1, .polish = {}, .stop = {}});
    for (std::uint64_t seed = 0; seed < 200; ++seed) {
        CAPTURE(seed);
        RandomStream stream(seed);
        Echo<Gabor<double>> truth = random_echo(stream, 20.6e-6, 24.5e-6);
        truth.amplitude /= std::abs(truth.amplitude);
        const auto samples = noisy_echoes<std::complex<R>>(std::vector{truth}, grid,
                                                           deviation / std::numbers::sqrt2, stream);
        const auto& result = fast.run(samples);
        CHECK(result.status == PursuitStatus::atom_count);
        REQUIRE(result.atoms.size() == 1);
        const auto limit = echo_limits(std::span<const Echo<Gabor<double>>>(&truth, 1), {},
                                       {deviation, grid.sampling_rate, true})[0];
        const auto fit = fit_echoes(samples, grid, std::vector{truth.atom}, {box},
                                    {.step_tolerance = 1e-10, .gain_tolerance = 1e-15});
        const Echo<Gabor<double>>& x = result.atoms[0];
        const Echo<Gabor<double>>& y = fit.echoes[0];
        const double part = 0.1;  // of the Cramer-Rao bound: what the task asks for
        CHECK_WITHIN(x.atom.arrival, y.atom.arrival, part * limit.arrival);
        CHECK_WITHIN(x.atom.centre_frequency, y.atom.centre_frequency,
                     part * limit.centre_frequency);
        CHECK_WITHIN_RELATIVE(x.atom.bandwidth, y.atom.bandwidth, part * limit.relative_bandwidth);
        CHECK_WITHIN_RELATIVE(std::abs(x.amplitude), std::abs(y.amplitude),
                              part * limit.relative_amplitude);
        CHECK_WITHIN(std::arg(x.amplitude / y.amplitude), 0.0, part * limit.phase);
    }
}

TEST_CASE_TEMPLATE("the residual energy is what the echoes leave", R, float, double) {
    std::vector<double> weights(grid.count, 1);
    weights[0] = 0.1;
    weights[grid.count - 1] = 0.4;
    FastPursuit<R> plain(grid, box);
    FastPursuit<R> weighted(grid, box, {}, weights);
    for (std::uint64_t seed = 0; seed < 50; ++seed) {
        CAPTURE(seed);
        const auto samples = crowded<R>(seed);
        for (const bool with : {false, true}) {
            const auto& result = (with ? weighted : plain).run(samples);
            REQUIRE(result.residual_energy.size() == result.atoms.size());
            const auto& w = with ? weights : std::vector<double>{};
            const double energy = left_over(samples, grid, {}, w);
            // Amplitudes of close atoms, some 10 times the sum's, and the tails that float cuts.
            const double tolerance = 1e4 * epsilon<R> * energy;
            CHECK_WITHIN(result.signal_energy, energy, tolerance);
            CHECK_WITHIN(result.residual_energy.back(), left_over(samples, grid, result.atoms, w),
                         tolerance);
            for (std::size_t k = 1; k < result.residual_energy.size(); ++k) {
                CHECK(result.residual_energy[k] <= result.residual_energy[k - 1]);
            }
            for (const auto& echo : result.atoms) {
                CHECK(box.contains(echo.atom));
            }
        }
    }
}

TEST_CASE("of crowded frames it explains no less than the engine's orthogonal pursuit") {
    FastPursuit<double> fast(grid, box);
    double least = 1;
    double sum = 0;
    constexpr int frames = 100;
    for (std::uint64_t seed = 0; seed < frames; ++seed) {
        const auto samples = crowded<double>(seed, 0.05);
        const auto slow = pursue(Signal<Complex>{samples, grid}, box, Orthogonal{10});
        const double difference = fast.run(samples).explained() - slow.explained();
        least = std::min(least, difference);
        sum += difference / frames;
    }
    CHECK(sum > 0);
    CHECK(least > -0.005);  // two greedy ways may part: measured -0.001
}

TEST_CASE("separate echoes are those of the joint fit") {
    const std::vector<Echo<Gabor<double>>> truth{{{20.9e-6, 4.2e6, 0.95e6}, {1, 0}},
                                                 {{22.7e-6, 3.9e6, 1.05e6}, {0, -0.5}},
                                                 {{24.3e-6, 4.0e6, 1.0e6}, {0.2, 0.2}}};
    FastPursuit<double> fast(grid, box,
                             {.atoms = 3, .polish = {10, 1e-12}, .sweeps = 3, .stop = {}});
    RandomStream stream(4);
    const auto samples = noisy_echoes<Complex>(truth, grid, 0.01, stream);
    const auto& result = fast.run(samples);
    std::vector<Gabor<double>> atoms;
    for (const auto& echo : truth) {
        atoms.push_back(echo.atom);
    }
    const auto fit = fit_echoes(samples, grid, atoms, std::vector<GaborBox>(3, box));
    REQUIRE(result.atoms.size() == 3);
    for (std::size_t k = 0; k < 3; ++k) {  // strongest first, as in the truth
        const double arrival = fit.echoes[k].atom.arrival;
        // Three sweeps: each takes what the neighbours' 1 % overlap leaves of an error.
        CHECK_WITHIN(result.atoms[k].atom.arrival, arrival, 0.1e-9);
        CHECK_WITHIN(result.atoms[k].amplitude, fit.echoes[k].amplitude, 2e-3);
    }
}

TEST_CASE("the mixing frequency need not be the box's centre") {
    const SamplingGrid other{20e-6, 125e6 / 15, 44, 3.3e6};
    const Echo<Gabor<double>> truth{{22.111e-6, 4.1e6, 1.02e6}, {0.3, -0.9}};
    std::vector<Complex> samples(other.count);
    add(truth, other, std::span<Complex>(samples));
    FastPursuit<double> fast(other, box, {.atoms = 1, .polish = {20, 0}, .stop = {}});
    const auto& result = fast.run(samples);
    REQUIRE(result.atoms.size() == 1);
    CHECK_WITHIN(result.atoms[0].atom.arrival, truth.atom.arrival, 1e-14);
    CHECK_WITHIN(result.atoms[0].atom.centre_frequency, truth.atom.centre_frequency, 10);
    // 1e-14 s of arrival are 3e-7 rad.
    CHECK_WITHIN(result.atoms[0].amplitude, truth.amplitude, 1e-6);
}

TEST_CASE("parameters that the box holds stay where they are") {
    const GaborBox held{{20e-6, 25e-6}, {4e6, 4e6}, {1e6, 1e6}};
    FastPursuit<float> fast(grid, held);
    for (const auto& echo : fast.run(crowded<float>(3)).atoms) {
        CHECK(echo.atom.centre_frequency == 4e6);
        CHECK(echo.atom.bandwidth == 1e6);
    }
    const GaborBox one{{22e-6, 22e-6}, {4e6, 4e6}, {1e6, 1e6}};
    FastPursuit<float> single(grid, one);
    const auto& result = single.run(crowded<float>(3));
    CHECK(result.atoms.size() == 1);
    CHECK(result.atoms[0].atom.arrival == 22e-6);
    CHECK(result.status == PursuitStatus::exhausted);
}

TEST_CASE_TEMPLATE("a gate of one sample is one echo", R, float, double) {
    const SamplingGrid point{20e-6, 125e6 / 15, 1, 4e6};
    FastPursuit<R> fast(point, GaborBox::around({4e6, 1e6}, 0.10, {20e-6, 20e-6}));
    const std::vector<std::complex<R>> sample{{R{3}, R{-4}}};
    const auto& result = fast.run(sample);
    REQUIRE(result.atoms.size() == 1);
    CHECK(result.signal_energy == 25);
    // Phase and projection are rounded a few times each.
    CHECK_WITHIN(std::norm(result.atoms[0].amplitude), 25.0, 25 * 20 * epsilon<R>);
    CHECK(result.residual_energy[0] <= 25 * 20 * epsilon<R> * epsilon<R>);
}

TEST_CASE_TEMPLATE("every end has its status", R, float, double) {
    FastPursuit<R> fast(grid, box);
    const std::vector<std::complex<R>> silence(grid.count);
    CHECK(fast.run(silence).status == PursuitStatus::silent);
    CHECK(fast.result().atoms.empty());
    CHECK(fast.result().explained() == 0);
    CHECK(fast.run(crowded<R>(1)).status == PursuitStatus::atom_count);
    CHECK(fast.run(crowded<R>(1)).atoms.size() == 10);

    FastPursuit<R> small(grid, box, {.polish = {}, .stop = {0.05, std::nullopt}});
    const auto& result = small.run(crowded<R>(1));
    CHECK(result.status == PursuitStatus::residual_small);
    CHECK(result.atoms.size() < 10);
    CHECK(result.explained() > 0.95);

    FastPursuit<R> elsewhere(grid, GaborBox::around({4e6, 1e6}, 0.1, {80e-6, 90e-6}));
    CHECK(elsewhere.run(crowded<R>(1)).status == PursuitStatus::exhausted);

    const double noise = 0.1;
    FastPursuit<R> careful(grid, box,
                           {.polish = {}, .stop = {0, FalseAlarm{2 * noise * noise, 1e-3}}});
    RandomStream stream(2);
    const auto only = noisy_echoes<std::complex<R>>(
        std::vector<Echo<Gabor<double>>>{{{22e-6, 4e6, 1e6}, {1, 0}}}, grid, noise, stream);
    CHECK(careful.run(only).status == PursuitStatus::not_significant);
    CHECK(careful.result().atoms.size() == 1);
}

TEST_CASE("an echo counts if its energy over that of the noise's real part passes the threshold") {
    RandomStream stream(3);
    const auto echo = noisy_echoes<Complex>(
        std::vector<Echo<Gabor<double>>>{{{22e-6, 4e6, 1e6}, {1, 0}}}, grid, 0, stream);
    double energy = 0;
    for (const Complex& x : echo) {
        energy += std::norm(x);
    }
    constexpr double probability = 1e-3;
    const double threshold = false_alarm_threshold(box, probability);
    for (const double part : {1.05, 0.95}) {
        CAPTURE(part);
        const FalseAlarm alarm{2 * energy / (part * threshold), probability};
        FastPursuit<double> fast(grid, box, {.atoms = 1, .polish = {}, .stop = {0, alarm}});
        CHECK(fast.run(echo).status ==
              (part > 1 ? PursuitStatus::atom_count : PursuitStatus::not_significant));
        CHECK(fast.result().atoms.size() == (part > 1 ? 1 : 0));
    }
}

TEST_CASE_TEMPLATE("every instruction set takes a frame apart alike, but for rounding", R, float,
                   double) {
    const FastPursuit<R> any(grid, box);
    CHECK(any.instruction_set() == default_instruction_set());
    FastPursuit<R> baseline(grid, box, {}, {}, InstructionSet::baseline);
    for (const InstructionSet set : all_instruction_sets) {
        CAPTURE(describe(set));
        if (!available(set)) {
            CHECK_THROWS_AS(FastPursuit<R>(grid, box, {}, {}, set), InvalidInput);
            continue;
        }
        FastPursuit<R> fast(grid, box, {}, {}, set);
        CHECK(fast.instruction_set() == set);
        int different = 0;
        for (std::uint64_t seed = 0; seed < 20; ++seed) {
            CAPTURE(seed);
            const auto samples = crowded<R>(seed);
            const auto& expected = baseline.run(samples);
            const auto& result = fast.run(samples);
            REQUIRE(result.atoms.size() == expected.atoms.size());
            const double tolerance = 1e4 * epsilon<R>;  // the greedy choice is the same
            CHECK_WITHIN(result.explained(), expected.explained(), tolerance);
            CHECK_WITHIN(result.atoms[0].atom.arrival, expected.atoms[0].atom.arrival,
                         tolerance / grid.sampling_rate);
            different += result.atoms == expected.atoms ? 0 : 1;
            CHECK(FastPursuit<R>(fast).run(samples).atoms == result.atoms);
        }
        // Each set adds up in another order.
        CHECK((different > 0) == (set != InstructionSet::baseline));
    }
    CHECK_THROWS_AS(FastPursuit<R>(grid, box, {}, {}, static_cast<InstructionSet>(17)),
                    InvalidInput);
}

TEST_CASE("a frame's result does not depend on the frames before") {
    FastPursuit<float> used(grid, box);
    FastPursuit<float> fresh(grid, box);
    for (std::uint64_t seed = 0; seed < 20; ++seed) {
        used.run(crowded<float>(seed));
    }
    const auto samples = crowded<float>(99);
    CHECK(used.run(samples).atoms == fresh.run(samples).atoms);
}

TEST_CASE_TEMPLATE("what is outside its domain is refused, and the next frame is good", R, float,
                   double) {
    FastPursuit<R> fast(grid, box);
    auto samples = crowded<R>(1);
    const auto good = fast.run(samples).atoms;
    CHECK_THROWS_AS(fast.run(std::span<const std::complex<R>>(samples).first(43)), InvalidInput);
    CHECK(!fast.result().usable());
    for (const R bad : {std::numeric_limits<R>::quiet_NaN(), std::numeric_limits<R>::infinity(),
                        std::numeric_limits<R>::max()}) {
        samples[17] = {R{0}, bad};
        CHECK_THROWS_AS(fast.run(samples), InvalidInput);
        CHECK(!fast.result().usable());
    }
    CHECK(fast.run(crowded<R>(1)).atoms == good);

    SamplingGrid none = grid;
    none.count = 0;
    CHECK_THROWS_AS(FastPursuit<R>(none, box), InvalidInput);
    SamplingGrid long_grid = grid;
    long_grid.count = fast_most_samples + 1;
    CHECK_THROWS_AS(FastPursuit<R>(long_grid, box), InvalidInput);
    SamplingGrid coarse = grid;
    coarse.sampling_rate = 2e6;
    CHECK_THROWS_AS(FastPursuit<R>(coarse, box), InvalidInput);
    GaborBox wide = box;
    wide.centre_frequency = {1e6, 10e6};
    CHECK_THROWS_AS(FastPursuit<R>(grid, wide), InvalidInput);
    GaborBox endless = box;  // pulses longer than any grid: their taps would fill the memory
    endless.bandwidth.lower = 1;
    CHECK_THROWS_AS(FastPursuit<R>(grid, endless), InvalidInput);
    GaborBox inverted = box;
    inverted.bandwidth = {1.1e6, 0.9e6};
    CHECK_THROWS_AS(FastPursuit<R>(grid, inverted), InvalidInput);
    CHECK_THROWS_AS(FastPursuit<R>(grid, box, {.atoms = 0, .polish = {}, .stop = {}}),
                    InvalidInput);
    CHECK_THROWS_AS(FastPursuit<R>(grid, box, {.polish = {.evaluations = 0}, .stop = {}}),
                    InvalidInput);
    CHECK_THROWS_AS(FastPursuit<R>(grid, box, {.polish = {}, .sweeps = -1, .stop = {}}),
                    InvalidInput);
    CHECK_THROWS_AS(FastPursuit<R>(grid, box, {}, std::vector<double>(43, 1.0)), InvalidInput);
    for (const double bad : {0.0, -1.0, 1.1, std::numeric_limits<double>::quiet_NaN()}) {
        CHECK_THROWS_AS(FastPursuit<R>(grid, box, {}, std::vector<double>(44, bad)), InvalidInput);
    }
}

TEST_CASE_TEMPLATE("the loudest and a faint frame are taken apart as any other", R, float, double) {
    FastPursuit<R> fast(grid, box);
    const auto samples = crowded<R>(5);
    const auto plain = fast.run(samples);
    const auto scaled = [&](int exponent) {  // powers of two: the same digits
        auto out = samples;
        for (auto& x : out) {
            x *= std::ldexp(R{1}, exponent);
        }
        return out;
    };
    const int loudest = std::ilogb(std::sqrt(FastPursuit<R>::most_energy / plain.signal_energy));
    // The faintest of a tail's samples, squared, is still a normal number.
    for (const int exponent : {std::same_as<R, float> ? -40 : -400, loudest}) {
        CAPTURE(exponent);
        const auto& result = fast.run(scaled(exponent));
        CHECK(result.explained() == plain.explained());
        REQUIRE(result.atoms.size() == plain.atoms.size());
        for (std::size_t k = 0; k < plain.atoms.size(); ++k) {
            CHECK(result.atoms[k].atom == plain.atoms[k].atom);
        }
    }
    CHECK_THROWS_AS(fast.run(scaled(loudest + 1)), InvalidInput);
}
