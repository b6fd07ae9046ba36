#include "echosieve/correlate/sampled.hpp"

#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/correlate/bound.hpp"
#include "echosieve/correlate/delay.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr double pi = std::numbers::pi;
const SamplingGrid rf{.start_time = 16e-6, .sampling_rate = 125e6, .count = 1000};
const SamplingGrid baseband{
    .start_time = 16e-6, .sampling_rate = 8e6, .count = 64, .mixing_frequency = 4e6};
constexpr double sound_speed = 1540;

// A grid that holds a Gaussian whole sums its correlations to about 1e-12 of the energy, which is
// 1e-12 rad: 4e-20 s. The arrivals' own rounding is 3e-21 s.
constexpr double exact = 1e-18;

template <Real R = double>
std::vector<std::complex<R>> samples(const SamplingGrid& grid, R arrival, R f = R{4e6},
                                     std::complex<R> amplitude = 1) {
    std::vector<std::complex<R>> out(grid.count);
    add(Echo<Gabor<R>>{{arrival, f, R{1e6}}, amplitude}, grid, std::span(out));
    return out;
}

template <Real R>
std::span<const std::complex<R>> view(const std::vector<std::complex<R>>& y) {
    return y;
}

}  // namespace

TEST_CASE("the phase gives the delay, analytic or baseband") {
    for (const SamplingGrid& grid : {rf, baseband}) {
        for (double delay : {0.0, 1e-12, 15e-9, -60e-9, 120e-9}) {
            const auto y1 = samples(grid, 20e-6);
            const auto y2 = samples(grid, 20e-6 + delay, 4e6, {0.5, 0});
            const SampledDelay found = phase_delay(view(y1), view(y2), 4e6);
            REQUIRE(found.usable());
            CHECK_WITHIN(found.delay, delay, exact);
            // The overlap of two Gaussians: exp(-alpha d^2 / 2).
            const double alpha = decay_from_bandwidth(1e6);
            CHECK_WITHIN(found.correlation, std::exp(-alpha * delay * delay / 2), 1e-12);
            CHECK_WITHIN(phase_delay(view(y2), view(y1), 4e6).delay, -delay, exact);
        }
    }
}

TEST_CASE("beyond half a period the phase wraps by a whole one") {
    const auto y1 = samples(baseband, 20e-6);
    const auto y2 = samples(baseband, 20e-6 + 150e-9);
    CHECK_WITHIN(phase_delay(view(y1), view(y2), 4e6).delay, 150e-9 - 250e-9, exact);
}

TEST_CASE("sampled and closed-form delay agree") {
    const Echo<Gabor<double>> x1{{20e-6, 4e6, 1e6}, {1, 0}};
    const Echo<Gabor<double>> x2{{20.02e-6, 4e6, 1e6}, {0.3, 0.1}};
    const auto y1 = samples(rf, 20e-6);
    const auto y2 = samples(rf, 20.02e-6, 4e6, {0.3, 0.1});
    // delay_between stops at 1e-9 rad: 4e-17 s.
    CHECK_WITHIN(phase_delay(view(y1), view(y2), 4e6).delay, delay_between(x1, x2).delay, 1e-16);
}

// An echo at 3.8 MHz, demodulated at 4 MHz, moves 12 um: the fixed frequency reads 12 * 3.8 / 4,
// the local one 12 (Kasai et al. 1985, Loupas et al. 1995; the arithmetic is ours).
TEST_CASE("fixed and local centre frequency") {
    const double delay = 2 * 12e-6 / sound_speed;
    const auto y1 = samples(baseband, 20e-6, 3.8e6);
    const auto y2 = samples(baseband, 20e-6 + delay, 3.8e6);
    const SampledDelay fixed = phase_delay(view(y1), view(y2), 4e6);
    CHECK_WITHIN(displacement(fixed.delay, sound_speed), 11.4e-6, 1e-15);
    const SampledDelay local = phase_delay_local(view(y1), view(y2), baseband);
    CHECK_WITHIN(displacement(local.delay, sound_speed), 12e-6, 1e-15);
    CHECK_WITHIN_RELATIVE(local.frequency, 3.8e6, 1e-10);
    const auto z1 = samples(rf, 20e-6, 3.8e6);
    const auto z2 = samples(rf, 20e-6 + delay, 3.8e6);
    CHECK_WITHIN(displacement(phase_delay_local(view(z1), view(z2), rf).delay, sound_speed), 12e-6,
                 1e-15);
}

TEST_CASE("phase per displacement and its ambiguity at 4 MHz") {
    const double per_micrometre = 2 * pi * 4e6 * 2e-6 / sound_speed;
    CHECK_WITHIN_RELATIVE(per_micrometre, 0.03263992, 5e-7);
    const auto y1 = samples(baseband, 20e-6);
    const auto y2 = samples(baseband, 20e-6 + 2 * 10e-6 / sound_speed);
    const SampledDelay found = phase_delay(view(y1), view(y2), 4e6);
    CHECK_WITHIN(2 * pi * 4e6 * found.delay, 0.32639924, 5e-9);
    CHECK_WITHIN_RELATIVE(displacement(1 / (2 * 4e6), sound_speed), 96.25e-6, 1e-12);
}

TEST_CASE("weights choose the echo") {
    auto y1 = samples(rf, 18e-6);
    auto y2 = samples(rf, 18e-6 + 10e-9);
    add(Echo<Gabor<double>>{{22e-6, 4e6, 1e6}, {1, 0}}, rf, std::span(y1));
    add(Echo<Gabor<double>>{{22e-6 - 30e-9, 4e6, 1e6}, {1, 0}}, rf, std::span(y2));
    std::vector<double> weights(rf.count, 0.0);
    for (std::size_t n = 0; n < 500; ++n) {
        weights[n] = 2;  // up to 20 us, 27 nepers down each echo
    }
    CHECK_WITHIN(phase_delay(view(y1), view(y2), 4e6, weights).delay, 10e-9, 1e-14);
    for (double& w : weights) {
        w = 2 - w;
    }
    CHECK_WITHIN(phase_delay(view(y1), view(y2), 4e6, weights).delay, -30e-9, 1e-14);
}

// Peak signal to noise of 20 dB on real samples at 125 MHz is eta = 4144.66; complex samples with
// noise variance s carry the same when 2 sum |y|^2 / s = eta.
TEST_CASE("the phase delay scatters by sqrt(2 / eta) at 20 dB") {
    constexpr int trials = 2000;
    const double eta = energy_to_noise(Gabor<double>{20e-6, 4e6, 1e6}, 10, 1, 125e6);
    const double delay = 20e-9;
    const auto clean1 = samples(baseband, 20e-6);
    const auto clean2 = samples(baseband, 20e-6 + delay);
    double energy = 0;
    for (const auto& y : clean1) {
        energy += std::norm(y);
    }
    const double part = std::sqrt(energy / eta);  // of the real and of the imaginary noise
    double sum = 0;
    double squares = 0;
    auto y1 = clean1;
    auto y2 = clean2;
    for (int trial = 0; trial < trials; ++trial) {
        RandomStream stream(23, static_cast<std::uint64_t>(trial));
        for (std::size_t n = 0; n < y1.size(); ++n) {
            y1[n] = clean1[n] + part * std::complex<double>(stream.normal(), stream.normal());
            y2[n] = clean2[n] + part * std::complex<double>(stream.normal(), stream.normal());
        }
        const double error = phase_delay(view(y1), view(y2), 4e6).delay - delay;
        sum += error;
        squares += error * error;
    }
    const double first_order = phase_delay_deviation(4e6, eta);
    const double mean = sum / trials;
    const double deviation = std::sqrt(squares / trials - mean * mean);
    // Noise times noise adds count / eta to the variance, and the delay's overlap takes
    // 1 - exp(-alpha d^2) / 2 of the signal: 0.8 and 0.1 %. The sd of 2000 trials is known to
    // 1 / sqrt(2 * 2000) = 1.6 %: four of these.
    MESSAGE("sd of the phase delay ", displacement(deviation, sound_speed) * 1e6, " um, bound ",
            displacement(first_order, sound_speed) * 1e6, " um");
    CHECK_WITHIN_RELATIVE(deviation, first_order, 0.064 + 0.009);
    CHECK_WITHIN(mean, 0.0, 4 * first_order / std::sqrt(trials));
}

// Largest errors over all places of the peak, in samples: the parabola through three values of a
// cosine and of a correlation at 4 MHz, 1 MHz (computed on a fine grid; on the cosine the header's
// formula).
TEST_CASE("the parabola's error") {
    struct Row {
        double samples_a_period, cosine, pulse;
    };
    constexpr Row rows[] = {{31.25, 6.496e-4, 6.680e-4},
                            {10, 6.459e-3, 6.641e-3},
                            {5, 2.753e-2, 2.829e-2},
                            {4, 4.527e-2, 4.651e-2}};
    for (const Row& row : rows) {
        const double omega = 2 * pi / row.samples_a_period;
        const double step = 1 / (4e6 * row.samples_a_period);
        const double decay = decay_from_bandwidth(1e6) / 2 * step * step;
        double cosine = 0;
        double pulse = 0;
        for (int k = -1000; k <= 1000; ++k) {
            const double offset = k / 2000.0;
            const auto wave = [&](double n) { return std::cos(omega * (n - offset)); };
            const auto packet = [&](double n) {
                return std::exp(-decay * (n - offset) * (n - offset)) * wave(n);
            };
            const double found = parabolic_peak(wave(-1), wave(0), wave(1));
            CHECK_WITHIN(found, std::tan(omega * offset) / std::tan(omega / 2) / 2, 1e-12);
            cosine = std::max(cosine, std::abs(found - offset));
            pulse = std::max(pulse,
                             std::abs(parabolic_peak(packet(-1), packet(0), packet(1)) - offset));
        }
        CHECK_WITHIN_RELATIVE(cosine, row.cosine, 2e-4);
        CHECK_WITHIN_RELATIVE(pulse, row.pulse, 2e-4);
    }
    CHECK(parabolic_peak(1, 2, 1) == 0);
    CHECK(parabolic_peak(1, 1, 1) == 0);
    CHECK(parabolic_peak(2, 1, 2) == 0);
    CHECK(parabolic_peak(1, 2, 2) == 0.5);
    CHECK(parabolic_peak(2, 2, 1) == -0.5);
}

TEST_CASE("delays of many periods by the lag and the phase") {
    for (const SamplingGrid& grid : {rf, baseband}) {
        const int max_lag = static_cast<int>(1.5e-6 * grid.sampling_rate);
        for (double delay : {0.0, 37e-9, -310e-9, 1.2345e-6, -1.1e-6}) {
            CAPTURE(delay);
            const auto y1 = samples(grid, 20e-6);
            const auto y2 = samples(grid, 20e-6 + delay, 4e6, {0.7, 0});
            const LagDelay found = lag_delay(view(y1), view(y2), grid, 4e6, max_lag);
            REQUIRE(found.usable());
            CHECK_WITHIN(found.delay, delay, exact);
            // The parabola on a Gaussian of 8 samples a microsecond is off by some nanoseconds.
            CHECK_WITHIN(found.envelope_delay, delay, 5e-9);
            CHECK(std::abs(found.lag - delay * grid.sampling_rate) <= 0.5 + 1e-9);
        }
    }
}

TEST_CASE("with a frequency other than the mixing frequency the lag delay holds as well") {
    const auto y1 = samples(baseband, 20e-6, 3.8e6);
    const auto y2 = samples(baseband, 20e-6 + 0.87e-6, 3.8e6);
    const LagDelay found = lag_delay(view(y1), view(y2), baseband, 3.8e6, 12);
    REQUIRE(found.usable());
    CHECK_WITHIN(found.delay, 0.87e-6, exact);
}

TEST_CASE("a peak at the end of the lags is not a peak") {
    const auto y1 = samples(baseband, 19e-6);
    const auto y2 = samples(baseband, 21e-6);
    const LagDelay found = lag_delay(view(y1), view(y2), baseband, 4e6, 8);
    CHECK(!found.interior);
    CHECK(!found.usable());
    CHECK(std::isnan(found.delay));
}

TEST_CASE("float samples") {
    const auto y1 = samples<float>(baseband, 20e-6F);
    const auto y2 = samples<float>(baseband, 20.02e-6F);
    const double truth = double{20.02e-6F} - double{20e-6F};
    // Each of some 20 samples is rounded to 6e-8: 1e-7 rad is 4e-15 s.
    CHECK_WITHIN(phase_delay(view(y1), view(y2), 4e6).delay, truth, 1e-14);
    CHECK_WITHIN(lag_delay(view(y1), view(y2), baseband, 4e6, 5).delay, truth, 1e-14);
}

TEST_CASE("silence, nothing and no frequency are not usable") {
    const std::vector<std::complex<double>> silent(64);
    const auto y = samples(baseband, 20e-6);
    const std::vector<std::complex<double>> none;
    CHECK(!phase_delay(view(silent), view(y), 4e6).usable());
    CHECK(!phase_delay(view(y), view(silent), 4e6).usable());
    CHECK(std::isnan(phase_delay(view(silent), view(silent), 4e6).delay));
    CHECK(!phase_delay(view(none), view(none), 4e6).usable());
    CHECK(!phase_delay_local(view(silent), view(silent), baseband).usable());
    CHECK(!lag_delay(view(silent), view(y), baseband, 4e6, 5).usable());
    const std::vector<double> nothing(64, 0.0);
    CHECK(!phase_delay(view(y), view(y), 4e6, nothing).usable());
    // An echo at -1 MHz has no positive frequency to turn a phase into a delay.
    const auto mirrored = samples(rf, 20e-6, -1e6);
    CHECK(!phase_delay_local(view(mirrored), view(mirrored), rf).usable());
}

TEST_CASE("one sample has a phase") {
    const std::vector<std::complex<double>> a{{1, 0}};
    const std::vector<std::complex<double>> b{{0, -2}};
    CHECK_WITHIN(phase_delay(view(a), view(b), 4e6).delay, 62.5e-9, exact);
    CHECK_WITHIN(phase_delay(view(a), view(b), 4e6).correlation, 1.0, 1e-15);
    SamplingGrid one = baseband;
    one.count = 1;
    CHECK_THROWS_AS(static_cast<void>(lag_delay(view(a), view(b), one, 4e6, 1)), InvalidInput);
}

TEST_CASE("invalid input is refused") {
    const double bad = std::numeric_limits<double>::quiet_NaN();
    const auto y = samples(baseband, 20e-6);
    auto broken = y;
    broken[5] = {bad, 0};
    auto infinite = y;
    infinite[63] = {0, std::numeric_limits<double>::infinity()};
    const std::vector<std::complex<double>> shorter(63);
    for (const auto& other : {broken, infinite, shorter}) {
        CHECK_THROWS_AS(static_cast<void>(phase_delay(view(y), view(other), 4e6)), InvalidInput);
        CHECK_THROWS_AS(static_cast<void>(phase_delay(view(other), view(y), 4e6)), InvalidInput);
        CHECK_THROWS_AS(static_cast<void>(phase_delay_local(view(y), view(other), baseband)),
                        InvalidInput);
        CHECK_THROWS_AS(static_cast<void>(lag_delay(view(y), view(other), baseband, 4e6, 5)),
                        InvalidInput);
    }
    for (double frequency : {0.0, -4e6, bad}) {
        CHECK_THROWS_AS(static_cast<void>(phase_delay(view(y), view(y), frequency)), InvalidInput);
        CHECK_THROWS_AS(static_cast<void>(lag_delay(view(y), view(y), baseband, frequency, 5)),
                        InvalidInput);
    }
    for (int max_lag : {0, -1, 64}) {
        CHECK_THROWS_AS(static_cast<void>(lag_delay(view(y), view(y), baseband, 4e6, max_lag)),
                        InvalidInput);
    }
    for (double weight : {-1.0, bad}) {
        std::vector<double> weights(64, 1.0);
        weights[3] = weight;
        CHECK_THROWS_AS(static_cast<void>(phase_delay(view(y), view(y), 4e6, weights)),
                        InvalidInput);
    }
    const std::vector<double> few(63, 1.0);
    CHECK_THROWS_AS(static_cast<void>(phase_delay(view(y), view(y), 4e6, few)), InvalidInput);
}
