#include "echosieve/condition/noise_level.hpp"

#include <cmath>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

std::vector<double> noise(double deviation, std::size_t count, std::uint64_t seed) {
    RandomStream stream(seed);
    std::vector<double> out(count);
    for (double& x : out) {
        x = deviation * stream.normal();
    }
    return out;
}

}  // namespace

TEST_CASE("the noise's deviation, and how well it is known") {
    constexpr int trials = 400;
    for (const std::size_t count : {200U, 1250U}) {
        double mean = 0, square = 0;
        for (int trial = 0; trial < trials; ++trial) {
            const auto samples = noise(0.37, count, static_cast<std::uint64_t>(trial));
            const double ratio = noise_deviation(std::span<const double>(samples)) / 0.37;
            mean += ratio / trials;
            square += (ratio - 1) * (ratio - 1) / trials;
        }
        const double scatter = std::sqrt(square);
        CHECK_WITHIN(mean, 1.0, 4 * scatter / std::sqrt(trials) + 2.0 / static_cast<double>(count));
        const double documented = 1.9 / std::sqrt(static_cast<double>(count));
        CHECK(scatter < 1.2 * documented);
        CHECK(scatter > 0.8 * documented);
    }
}

TEST_CASE("echoes of 40 dB over it hardly change it") {
    auto samples = noise(0.01, 1250, 5);
    const double before = noise_deviation(std::span<const double>(samples));
    const SamplingGrid grid{0, 125e6, samples.size(), 0};
    for (const double arrival : {2e-6, 4.5e-6, 5e-6, 8e-6}) {
        add(Echo<Gabor<double>>{{arrival, 4e6, 1e6}, {1, 0}}, grid, std::span(samples));
    }
    CHECK_WITHIN_RELATIVE(noise_deviation(std::span<const double>(samples)), before, 0.03);
}

TEST_CASE("silence, float samples and what is refused") {
    CHECK(noise_deviation(std::span<const double>(std::vector<double>(16, 2.5))) == 0);
    const auto wide = noise(1, 500, 3);
    const std::vector<float> narrow(wide.begin(), wide.end());
    CHECK_WITHIN_RELATIVE(noise_deviation(std::span<const float>(narrow)),
                          noise_deviation(std::span<const double>(wide)), 1e-5);
    CHECK_THROWS_AS((void)noise_deviation(std::span<const double>(std::vector<double>(15, 0.0))),
                    InvalidInput);
    auto broken = wide;
    broken[7] = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS((void)noise_deviation(std::span<const double>(broken)), InvalidInput);
}
