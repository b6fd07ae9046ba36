#include "echosieve/correlate/delay_limits.hpp"

#include <cmath>
#include <complex>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/correlate/bound.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

using Plain = Echo<Gabor<double>>;
const Plain before{{8e-6, 4e6, 1e6}, std::polar(1.0, 0.4)};

Plain after(double delay, double amplitude = 1) {
    return {{8e-6 + delay, 4e6, 1e6}, std::polar(amplitude, 0.4)};
}

}  // namespace

TEST_CASE("a measured delay is the delay, with the bound of two frames") {
    const SampledNoise noise{.deviation = 0.1};  // 20 dB
    const MeasuredDelay measured = measure_delay(before, after(15.6e-9), noise);
    REQUIRE(measured.usable());
    CHECK_WITHIN(measured.delay.delay, 15.6e-9, 1e-15);
    // 0.671115 um of displacement at 1540 m/s, derived for the table of bounds.
    CHECK_WITHIN_RELATIVE(1e6 * displacement(measured.deviation, 1540), 0.671115, 2e-6);
    CHECK(measured.reliable);
    const double eta = energy_to_noise(before.atom, 1, noise.deviation, noise.sampling_rate);
    CHECK_WITHIN_RELATIVE(measured.cycle_skip_probability, cycle_skip_probability(before.atom, eta),
                          1e-6);
}

TEST_CASE("frames of unequal strength: each adds its own variance") {
    const SampledNoise noise{.deviation = 0.01};
    const double alike = measure_delay(before, after(1e-9), noise).deviation;
    const double weaker = measure_delay(before, after(1e-9, 0.5), noise).deviation;
    // Variances in the ratio (1 + 4) / 2.
    CHECK_WITHIN_RELATIVE(weaker, alike * std::sqrt(2.5), 1e-9);
}

TEST_CASE("in the threshold region a delay is not reliable, unless a prediction says the cycle") {
    const SampledNoise noise{.deviation = 1};  // 0 dB
    const MeasuredDelay alone = measure_delay(before, after(10e-9), noise);
    REQUIRE(alone.usable());
    CHECK(alone.cycle_skip_probability > 0.1);
    CHECK_FALSE(alone.reliable);
    const MeasuredDelay predicted = measure_delay(before, after(10e-9), noise, 0.0);
    CHECK(predicted.cycle_skip_probability == 0);
    CHECK(predicted.reliable);
    CHECK(predicted.deviation == alone.deviation);
}

TEST_CASE("the neighbour that is easier to mistake counts, on whichever side it lies") {
    // The second frame holds another echo, later by a period and a half: the correlation is higher
    // a period later than a period earlier. Seen from the second frame it is the other way round.
    const SampledNoise noise{.deviation = 0.4};
    const std::vector<Plain> x1{before};
    const std::vector<Plain> x2{before, {{8e-6 + 0.375e-6, 4e6, 1e6}, std::polar(0.6, 0.4 + 3.0)}};
    const auto forth = measure_delay(std::span<const Plain>(x1), std::span<const Plain>(x2), noise);
    const auto back = measure_delay(std::span<const Plain>(x2), std::span<const Plain>(x1), noise);
    REQUIRE(forth.usable());
    REQUIRE(back.usable());
    CHECK_WITHIN(back.delay.delay, -forth.delay.delay, 1e-15);
    // Slowly: the real correlation at the delay and a period to either side, sampled at 1 GHz.
    const auto correlation = [&](double delay) {
        double sum = 0;
        for (int n = 0; n < 16000; ++n) {
            const double t = n * 1e-9;
            double later = 0;
            for (const Plain& echo : x2) {
                later += value(echo, t + delay).real();
            }
            sum += value(x1[0], t).real() * later;
        }
        return sum * 125e6 / 1e9;  // over samples
    };
    const double d = forth.delay.delay;
    const double period = 1 / forth.delay.frequency;
    const double earlier = correlation(d) - correlation(d - period);
    const double later = correlation(d) - correlation(d + period);
    REQUIRE(std::min(earlier, later) < 0.8 * std::max(earlier, later));
    const double mean = std::min(earlier, later) / (noise.deviation * noise.deviation);
    const double chance = std::erfc(mean / std::sqrt(2 * 4 * mean));
    CHECK(chance > 1e-3);
    constexpr double mirrored = 1e-3;  // real against analytic, and the sum for the integral
    CHECK_WITHIN_RELATIVE(forth.cycle_skip_probability, chance, mirrored);
    CHECK_WITHIN_RELATIVE(back.cycle_skip_probability, chance, mirrored);
}

TEST_CASE("sums of echoes, nothing in common, and what is refused") {
    const SampledNoise noise{.deviation = 0.1, .complex_samples = true};
    const std::vector<Plain> x1{before, {{9e-6, 3.8e6, 0.9e6}, {0.5, 0.2}}};
    std::vector<Plain> x2 = x1;
    for (Plain& x : x2) {
        x.atom.arrival += 20e-9;
    }
    const MeasuredDelay sum =
        measure_delay(std::span<const Plain>(x1), std::span<const Plain>(x2), noise);
    REQUIRE(sum.usable());
    CHECK_WITHIN(sum.delay.delay, 20e-9, 1e-15);
    CHECK_WITHIN_RELATIVE(sum.deviation, common_delay_limit(std::span<const Plain>(x1), noise),
                          1e-9);
    const Plain other{{8e-6, 40e6, 1e6}, {1, 0}};
    const MeasuredDelay none = measure_delay(before, other, noise);
    CHECK_FALSE(none.usable());
    CHECK_FALSE(none.reliable);
    CHECK(std::isinf(none.deviation));
    CHECK_THROWS_AS((void)measure_delay(before, other, {.deviation = 0}), InvalidInput);
    CHECK_THROWS_AS(
        (void)measure_delay(before, other, noise, std::nullopt, {.largest_skip_probability = 2}),
        InvalidInput);
}
