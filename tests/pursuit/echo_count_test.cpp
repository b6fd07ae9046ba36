#include "echosieve/pursuit/echo_count.hpp"

#include <cmath>
#include <complex>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/correlate/bound.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

using Plain = Echo<Gabor<double>>;
const EchoPrior prior{GaborBox::around({4e6, 1e6}, 0.1, {1e-6, 9e-6})};

}  // namespace

// N ln(RSS_0 / RSS_1) > 5 ln N: our own calculation of the table.
TEST_CASE("the information criterion accepts an echo where the energy falls enough") {
    struct Row {
        std::size_t values;
        double penalty, drop_percent;
    };
    for (const Row& row : {Row{500, 31.0730, 6.0254}, Row{1250, 35.6545, 2.8121},
                           Row{2500, 39.1202, 1.5526}, Row{5000, 42.5860, .8481}}) {
        CHECK_WITHIN(5 * std::log(static_cast<double>(row.values)), row.penalty, 5e-5);
        const auto count = [&](double drop) {
            const std::vector<double> energies{1, 1 - drop / 100};
            return count_by_information(energies, row.values).count;
        };
        CHECK(count(row.drop_percent + 1e-4) == 1);
        CHECK(count(row.drop_percent - 1e-4) == 0);
    }
}

TEST_CASE("the evidence of one echo is that of the closed determinant") {
    const Plain echo{{5e-6, 4e6, 1e6}, {1, 0}};
    const std::vector<Plain> echoes{echo};
    const SampledNoise noise{.deviation = 0.1};
    const double eta = energy_to_noise(echo.atom, 1, noise.deviation, noise.sampling_rate);
    const double pi = std::numbers::pi;
    const double volume = 8e-6 * 0.8e6 * 0.2e6 * std::log(1000.0) * 2 * pi;
    const double determinant =
        5 * std::log(eta) + 2 * std::log(pi) - std::log(2.0) - 2 * std::log(1e6);
    const std::vector<double> energies{50, 20};
    const EchoCount count = count_by_evidence(std::span<const double>(energies),
                                              std::span<const Plain>(echoes), prior, noise);
    CHECK_WITHIN_RELATIVE(count.scores[0], -50 / 0.01, 1e-12);
    // The prior's own information adds ln(1 + 2 pi (deviation / W)^2) each: 0.076 of the bandwidth,
    // 0.005 of the others.
    CHECK_WITHIN(count.scores[1],
                 -20 / 0.01 - determinant + 5 * std::log(2 * pi) - 2 * std::log(volume), 0.09);
    CHECK(count.count == 1);
}

TEST_CASE("signals of none to three echoes are counted right, mostly") {
    // In-band noise 20 dB under the echoes; both criteria may err in a few of a hundred.
    const SamplingGrid grid{0, 25e6, 250, 0};
    const SampledNoise noise{.deviation = 0.1, .sampling_rate = 25e6};
    constexpr int trials = 50;
    for (std::size_t truth = 0; truth <= 3; ++truth) {
        int by_information = 0, by_evidence = 0;
        for (int trial = 0; trial < trials; ++trial) {
            RandomStream stream(11, 100 * truth + static_cast<std::uint64_t>(trial));
            std::vector<double> samples(grid.count);
            for (double& x : samples) {
                x = noise.deviation * stream.normal();
            }
            for (std::size_t k = 0; k < truth; ++k) {
                const double arrival = 2e-6 + 2.5e-6 * static_cast<double>(k);
                add(Plain{{arrival, stream.uniform(3.8e6, 4.2e6), stream.uniform(0.95e6, 1.05e6)},
                          std::polar(stream.uniform(0.8, 1.2), stream.uniform(-3.0, 3.0))},
                    grid, std::span(samples));
            }
            const auto result = pursue(Signal<double>{samples, grid}, prior.box, Orthogonal{6});
            const auto energies = remaining_energies(result);
            by_information += count_by_information(energies, grid.count).count == truth;
            by_evidence += count_by_evidence(std::span<const double>(energies),
                                             std::span<const Plain>(result.atoms), prior, noise)
                               .count == truth;
        }
        CAPTURE(truth);
        CHECK(by_information >= 45);
        CHECK(by_evidence >= 47);
    }
}

// One complex sample is worth two real ones of the same noise a part: `deviation` is that of the
// whole sample.
TEST_CASE("the evidence of complex samples counts both of their parts") {
    const Plain echo{{5e-6, 4e6, 1e6}, {1, 0}};
    const std::vector<Plain> echoes{echo};
    const SampledNoise noise{.deviation = 0.1, .complex_samples = true};
    // 4 times the eta of real samples: twice for the second part, twice since a part of the noise
    // has half of the variance.
    const double eta = 4 * energy_to_noise(echo.atom, 1, noise.deviation, noise.sampling_rate);
    const double pi = std::numbers::pi;
    const double volume = 8e-6 * 0.8e6 * 0.2e6 * std::log(1000.0) * 2 * pi;
    const double determinant =
        5 * std::log(eta) + 2 * std::log(pi) - std::log(2.0) - 2 * std::log(1e6);
    const std::vector<double> energies{50, 20};
    const EchoCount count = count_by_evidence(std::span<const double>(energies),
                                              std::span<const Plain>(echoes), prior, noise);
    CHECK_WITHIN_RELATIVE(count.scores[0], -2 * 50 / 0.01, 1e-12);
    CHECK_WITHIN(count.scores[1],
                 -2 * 20 / 0.01 - determinant + 5 * std::log(2 * pi) - 2 * std::log(volume), 0.03);
}

TEST_CASE("complex signals of none to two echoes are counted right, mostly") {
    // Baseband at the sensor's own frequency; noise 10 dB under the echoes, one of which is weak:
    // the penalty decides.
    const SamplingGrid grid{0, 5e6, 50, 4e6};
    const SampledNoise noise{.deviation = 0.32, .sampling_rate = 5e6, .complex_samples = true};
    using Complex = std::complex<double>;
    constexpr int trials = 60;
    for (std::size_t truth = 0; truth <= 2; ++truth) {
        int right = 0;
        for (int trial = 0; trial < trials; ++trial) {
            RandomStream stream(12, 100 * truth + static_cast<std::uint64_t>(trial));
            std::vector<Complex> samples(grid.count);
            for (Complex& x : samples) {
                const double real = stream.normal();
                x = noise.deviation / std::numbers::sqrt2 * Complex(real, stream.normal());
            }
            for (std::size_t k = 0; k < truth; ++k) {
                add(Plain{{2.5e-6 + 3e-6 * static_cast<double>(k), stream.uniform(3.8e6, 4.2e6),
                           stream.uniform(0.95e6, 1.05e6)},
                          std::polar(k == 0 ? 1.5 : 0.9, stream.uniform(-3.0, 3.0))},
                    grid, std::span(samples));
            }
            const auto result = pursue(Signal<Complex>{samples, grid}, prior.box, Orthogonal{4});
            const auto energies = remaining_energies(result);
            right += count_by_evidence(std::span<const double>(energies),
                                       std::span<const Plain>(result.atoms), prior, noise)
                         .count == truth;
        }
        CAPTURE(truth);
        CHECK(right >= 54);
    }
}

TEST_CASE("counting edges: nothing found, silence, one echo twice, and what is refused") {
    const std::vector<double> alone{3};
    CHECK(count_by_information(alone, 100).count == 0);
    CHECK(count_by_evidence(std::span<const double>(alone), std::span<const Plain>(), prior,
                            {.deviation = 1})
              .count == 0);
    const std::vector<double> silent{0, 0};
    CHECK(count_by_information(silent, 100).count == 0);
    const Plain echo{{5e-6, 4e6, 1e6}, {1, 0}};
    const std::vector<Plain> twice{echo, echo};
    const std::vector<double> energies{50, 1, 0.999};
    CHECK(count_by_evidence(std::span<const double>(energies), std::span<const Plain>(twice), prior,
                            {.deviation = 0.1})
              .count == 1);
    CHECK_THROWS_AS((void)count_by_information({}, 100), InvalidInput);
    CHECK_THROWS_AS((void)count_by_information(alone, 1), InvalidInput);
    const std::vector<double> negative{1, -1};
    CHECK_THROWS_AS((void)count_by_information(negative, 100), InvalidInput);
    CHECK_THROWS_AS((void)count_by_evidence(std::span<const double>(alone),
                                            std::span<const Plain>(twice), prior, {}),
                    InvalidInput);
    EchoPrior narrow = prior;
    narrow.amplitude_range = 1;
    CHECK_THROWS_AS(validate(narrow), InvalidInput);
}
