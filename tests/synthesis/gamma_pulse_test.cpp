#include "echosieve/synthesis/detail/gamma_pulse.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/core/grid.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/synthesis/detail/gamma_echo_bank.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr Sensor sensor{.centre_frequency = 4e6, .bandwidth = 1e6};

// Magnitude of the Fourier integral of `pulse` at `frequency`, by the trapezoidal rule.
double spectrum(const GammaPulse& pulse, double frequency) {
    const double tau = gamma_decay_time(pulse.bandwidth);
    const double step = tau / 400;
    std::complex<double> sum = 0;
    for (double t = 0; t < 50 * tau; t += step) {
        sum += value(pulse, pulse.arrival + t) *
               std::polar(1.0, -2 * std::numbers::pi * frequency * t);
    }
    return std::abs(sum) * step;
}

}  // namespace

TEST_CASE("the gamma pulse's spectrum is 6 dB down at both edges of its band") {
    const GammaPulse pulse{2e-6, sensor.centre_frequency, sensor.bandwidth};
    const double middle = spectrum(pulse, 4e6);
    constexpr double rule = 1e-4;  // of the trapezoidal sum over a kink in the second derivative
    CHECK_WITHIN_RELATIVE(spectrum(pulse, 3.5e6) / middle, std::pow(10, -0.3), rule);
    CHECK_WITHIN_RELATIVE(spectrum(pulse, 4.5e6) / middle, std::pow(10, -0.3), rule);
    // |1 + i 2 pi nu tau|^-3 far out as well.
    const double x = 2 * std::numbers::pi * 1.3e6 * gamma_decay_time(sensor.bandwidth);
    CHECK_WITHIN_RELATIVE(spectrum(pulse, 5.3e6) / middle, std::pow(1 + x * x, -1.5), 1e-3);
}

TEST_CASE("the gamma pulse peaks at 1, two decay times after its arrival") {
    const GammaPulse pulse{1e-6, sensor.centre_frequency, sensor.bandwidth};
    const double tau = gamma_decay_time(sensor.bandwidth);
    CHECK(std::abs(value(pulse, pulse.arrival)) == 0);
    CHECK(std::abs(value(pulse, pulse.arrival - 1e-9)) == 0);
    constexpr double rounding = 1e-9;  // of 2 us + u in double, times the slope
    CHECK_WITHIN(std::abs(value(pulse, pulse.arrival + 2 * tau)), 1.0, rounding);
    double energy = 0;
    const double step = tau / 200;
    for (double u = 0; u < 50 * tau; u += step) {
        const double e = std::abs(value(pulse, pulse.arrival + u));
        REQUIRE(e <= 1 + 1e-12);
        energy += e * e * step;
    }
    CHECK_WITHIN_RELATIVE(energy, gamma_energy(sensor.bandwidth), 1e-6);
}

TEST_CASE("attenuation moves the gamma spectrum's maximum as the formula says") {
    const double depth = 20e-3;
    const double loss = 0.5;
    const double nepers = detail::nepers_per_hertz(loss, depth);
    const double k = 2 * std::numbers::pi * gamma_decay_time(sensor.bandwidth);
    double best = 0;
    double at = 0;
    for (double f = 3.9e6; f < 4.05e6; f += 10) {
        const double nu = f - 4e6;
        const double level = std::pow(1 + k * k * nu * nu, -1.5) * std::exp(-nepers * nu);
        if (level > best) {
            best = level;
            at = f;
        }
    }
    CHECK(at < 4e6);
    CHECK_WITHIN(detail::gamma_frequency(sensor, loss, depth), at, 20.0);  // two steps of the scan
    CHECK(detail::gamma_frequency(sensor, 0, depth) == 4e6);
    CHECK(detail::gamma_survives(sensor, loss, depth));
    CHECK(!detail::gamma_survives(sensor, 5, 0.1));
}

TEST_CASE("the recurrence writes the same echoes as the pulse's formula") {
    const SamplingGrid grid{6.5e-6, 40e6, 900, 0};
    RandomStream random(31, 0);
    std::vector<double> direct(grid.count);
    std::vector<double> frame(grid.count);
    detail::GammaEchoBank bank(grid);
    // Two turns: the second must find the memory empty.
    for (const double frequency : {4e6, 3.9e6}) {
        bank.set_pulse(frequency, sensor.bandwidth);
        for (int k = 0; k < 60; ++k) {
            // From before the first sample to behind the last.
            const double arrival = random.uniform(5e-6, 30e-6);
            const std::complex<double> amplitude{random.normal(), random.normal()};
            bank.put(arrival, amplitude);
            const GammaPulse pulse{arrival, frequency, sensor.bandwidth};
            for (std::size_t n = 0; n < grid.count; ++n) {
                direct[n] += (amplitude * value(pulse, grid.time(static_cast<double>(n)))).real();
            }
        }
        bank.move_to(frame);
    }
    constexpr double tolerance = 1e-8;  // each echo is cut at 1e-9 of its peak
    for (std::size_t n = 0; n < grid.count; ++n) {
        CHECK_WITHIN(frame[n], direct[n], tolerance);
    }
    const std::vector<double> before = frame;
    bank.move_to(frame);
    CHECK(frame == before);
}
