#include "echosieve/correlate/delay_limits.hpp"

#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <complex>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/correlate/bound.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr double sampling_rate = 125e6;
const Gabor<double> pulse{8e-6, 4e6, 1e6};

// Part of trials in which the largest real correlation of two noisy frames lies more than half a
// period from the truth.
double skips_counted(const Gabor<double>& atom, double eta, bool both_noisy, int trials) {
    const double rate = 32e6;
    const int count = 128;
    const int reach = 16;  // samples of lag: two periods either way
    const double centre = count / 2 / rate;
    std::vector<double> clean(static_cast<std::size_t>(count));
    double energy = 0;
    for (int n = 0; n < count; ++n) {
        const Gabor<double> at{centre, atom.centre_frequency, atom.bandwidth};
        clean[static_cast<std::size_t>(n)] = value(at, n / rate).real();
        energy += std::pow(clean[static_cast<std::size_t>(n)], 2);
    }
    const double sigma = std::sqrt(energy / eta);
    RandomStream stream(31);
    int skipped = 0;
    std::vector<double> y1(clean.size()), y2(clean.size());
    for (int trial = 0; trial < trials; ++trial) {
        for (std::size_t n = 0; n < clean.size(); ++n) {
            y1[n] = clean[n] + (both_noisy ? sigma * stream.normal() : 0);
            y2[n] = clean[n] + sigma * stream.normal();
        }
        double best = -std::numeric_limits<double>::infinity();
        int at = 0;
        for (int lag = -reach; lag <= reach; ++lag) {
            double sum = 0;
            for (int n = reach; n < count - reach; ++n) {
                sum += y1[static_cast<std::size_t>(n)] * y2[static_cast<std::size_t>(n + lag)];
            }
            if (sum > best) {
                best = sum;
                at = lag;
            }
        }
        skipped += std::abs(at) > rate / atom.centre_frequency / 2 ? 1 : 0;
    }
    return static_cast<double>(skipped) / trials;
}

}  // namespace

TEST_CASE("the common delay of one echo is the bound of its phase") {
    for (const double decibels : {10.0, 20.0, 40.0}) {
        const SampledNoise noise{.deviation = std::pow(10.0, -decibels / 20)};
        const Echo<Gabor<double>> echo{pulse, std::polar(1.0, 0.3)};
        const double eta = energy_to_noise(pulse, 1, noise.deviation, sampling_rate);
        const double limit =
            common_delay_limit(std::span<const Echo<Gabor<double>>>(&echo, 1), noise);
        CHECK_WITHIN_RELATIVE(limit, delay_bound(echo_bound(pulse, eta)), 1e-12);
    }
    // Two frames at 20 dB: 0.671115 um, derived for the table of bounds.
    const Echo<Gabor<double>> echo{pulse, {1, 0}};
    const double delay =
        common_delay_limit(std::span<const Echo<Gabor<double>>>(&echo, 1), {.deviation = 0.1});
    CHECK_WITHIN_RELATIVE(1e6 * displacement(delay, 1540), 0.671115, 2e-6);
}

TEST_CASE("echoes that move as one are known better than each, unless they cancel") {
    using Echoes = std::vector<Echo<Gabor<double>>>;
    const SampledNoise noise{.deviation = 0.1};
    const auto limit = [&](const Echoes& echoes) {
        return common_delay_limit(std::span<const Echo<Gabor<double>>>(echoes), noise);
    };
    const Echo<Gabor<double>> one{pulse, {1, 0}};
    const Echo<Gabor<double>> far{{14e-6, 4e6, 1e6}, {1, 0}};
    CHECK_WITHIN_RELATIVE(limit({one, far}), limit({one}) / std::sqrt(2.0), 1e-9);
    CHECK_WITHIN_RELATIVE(limit({one, one}), limit({one}) / 2, 1e-12);
    CHECK(std::isinf(limit({})));
    const SampledNoise complex_noise{.deviation = 0.1, .complex_samples = true};
    CHECK_WITHIN_RELATIVE(
        common_delay_limit(std::span<const Echo<Gabor<double>>>(&one, 1), complex_noise),
        limit({one}) / 2, 1e-12);
}

TEST_CASE("cycle skips happen as often as foretold (Monte Carlo)") {
    // First order in 1 / eta, and both neighbours as if they excluded each other: a fifth of the
    // figure, and four standard errors of 4,000 trials.
    constexpr int trials = 4000;
    for (const bool both_noisy : {false, true}) {
        // White noise in a window of 96 samples: as many independent values.
        for (const double eta : {150.0, 250.0, 400.0}) {
            const double energy = both_noisy ? eta : eta / 3;
            const double expected = cycle_skip_probability(
                pulse, energy, {.both_noisy = both_noisy, .noise_values = 96});
            const double counted = skips_counted(pulse, energy, both_noisy, trials);
            CAPTURE(eta);
            CHECK_WITHIN(counted, expected,
                         0.2 * expected + 4 * std::sqrt(expected * (1 - expected) / trials));
        }
    }
}

TEST_CASE("the probability is twice a normal tail (Boost.Math), and its threshold inverts it") {
    const boost::math::normal unit;
    const double alpha = decay_from_bandwidth(pulse.bandwidth);
    const double rho = std::exp(-alpha / (2 * pulse.centre_frequency * pulse.centre_frequency));
    for (const double eta : {10.0, 400.0, 4e3}) {
        const double tail = cdf(complement(unit, std::sqrt(eta * (1 - rho) / 4)));
        CHECK_WITHIN_RELATIVE(cycle_skip_probability(pulse, eta), 2 * tail, 1e-12);
    }
    for (const double probability : {0.3, 0.01, 1e-6}) {
        const double eta = threshold_energy_to_noise(pulse, probability);
        CHECK_WITHIN_RELATIVE(cycle_skip_probability(pulse, eta), probability, 1e-8);
    }
    CHECK(cycle_skip_probability(ChirpedGabor<double>{8e-6, 4e6, 1e6, 1e12}, 200) <
          cycle_skip_probability(pulse, 200));
}

TEST_CASE("limits of delays refuse what has none") {
    CHECK_THROWS_AS((void)cycle_skip_probability(pulse, 0), InvalidInput);
    CHECK_THROWS_AS((void)cycle_skip_probability(Gabor<double>{0, 0, 1e6}, 10), InvalidInput);
    CHECK_THROWS_AS((void)threshold_energy_to_noise(pulse, 1), InvalidInput);
    const Echo<Gabor<double>> echo{pulse, {1, 0}};
    CHECK_THROWS_AS(
        (void)common_delay_limit(std::span<const Echo<Gabor<double>>>(&echo, 1), {.deviation = -1}),
        InvalidInput);
}
