#include "echosieve/correlate/measurement_plan.hpp"

#include <cmath>
#include <numbers>

#include "echosieve/atoms/inner_product.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

const Sensor sensor{.centre_frequency = 4e6, .bandwidth = 1e6};

}  // namespace

// The tables of bounds (derived, checked with numerical Fisher matrices): 20 dB, 125 MHz, 1540 m/s.
TEST_CASE("the plan of one echo at 20 dB has the tabulated limits") {
    const PlannedPrecision at = planned_precision({.sensor = sensor});
    CHECK_WITHIN_RELATIVE(at.energy_to_noise, 4144.66, 2e-6);
    CHECK_WITHIN_RELATIVE(1e6 * at.displacement, 0.671115, 2e-6);
    CHECK_WITHIN_RELATIVE(1e6 * at.depth, 6.32842, 2e-6);
    CHECK(at.layer_displacement == at.displacement);
    CHECK_WITHIN(at.coding_gain, 0.0, 1e-12);
    CHECK(at.cycle_skip_probability < 1e-9);
}

TEST_CASE("averaging and signal to noise buy the same, and what is required is what is planned") {
    const PlannedPrecision averaged =
        planned_precision({.sensor = sensor, .signal_to_noise = 10, .averaged_frames = 10});
    const PlannedPrecision louder = planned_precision({.sensor = sensor, .signal_to_noise = 20});
    CHECK_WITHIN_RELATIVE(averaged.displacement, louder.displacement, 1e-12);
    for (const double spacing : {0.0, 0.4e-3, 0.8e-3}) {
        MeasurementPlan plan{.sensor = sensor, .averaged_frames = 4, .layer_spacing = spacing};
        plan.signal_to_noise = required_signal_to_noise(plan, 1e-6);
        CHECK_WITHIN_RELATIVE(planned_precision(plan).layer_displacement, 1e-6, 1e-9);
    }
}

TEST_CASE("a coded pulse fills the sensor's band, and its gain is that of its energy") {
    for (const double length : {2e-6, 10e-6, 40e-6}) {
        const ChirpedGabor<double> code = coded_pulse(sensor, length);
        CHECK_WITHIN_RELATIVE(pulse_length(decay(code)), length, 1e-9);
        const double slope = std::numbers::pi * code.chirp_rate / decay(code);
        CHECK_WITHIN_RELATIVE(decay(code) * (1 + slope * slope),
                              decay_from_bandwidth(sensor.bandwidth), 1e-12);
        const PlannedPrecision at = planned_precision({.sensor = sensor, .code_length = length});
        const Gabor<double> pulse{0, 4e6, 1e6};
        CHECK_WITHIN(at.coding_gain, 10 * std::log10(energy(code) / energy(pulse)), 1e-9);
        // The bound of the chirp itself, uncompressed, is that of the compressed pulse.
        CHECK_WITHIN_RELATIVE(at.displacement,
                              displacement(delay_bound(echo_bound(code, at.energy_to_noise)), 1540),
                              1e-9);
        CHECK(at.blind_depth > planned_precision({.sensor = sensor}).blind_depth);
    }
    // No longer than the sensor's own pulse: the short pulse.
    CHECK(coded_pulse(sensor, 0.5e-6).chirp_rate == 0);
    CHECK_WITHIN_RELATIVE(coded_pulse(sensor, 0).bandwidth, 1e6, 1e-12);
}

// Arrivals of two echoes, all else known: the bound of tau_1 alone over sqrt(1 - overlap^2), the
// overlap that of the derivatives; beyond a pulse's length each is on its own.
TEST_CASE("a second layer costs precision until it is a pulse away") {
    double before = 1;
    for (const double spacing : {0.1e-3, 0.25e-3, 0.5e-3, 1e-3, 2e-3}) {
        const double now =
            planned_precision({.sensor = sensor, .layer_spacing = spacing}).layer_displacement;
        CHECK(now < before);
        before = now;
    }
    const PlannedPrecision alone = planned_precision({.sensor = sensor});
    CHECK_WITHIN_RELATIVE(before, alone.displacement, 1e-3);
    CHECK_FALSE(planned_precision({.sensor = sensor, .signal_to_noise = 0, .layer_spacing = 1e-6})
                    .layers_resolvable);
}

TEST_CASE("plans that make no sense are refused") {
    const auto refused = [](MeasurementPlan plan) {
        CHECK_THROWS_AS((void)planned_precision(plan), InvalidInput);
    };
    refused({});
    refused({.sensor = sensor, .signal_to_noise = std::nan("")});
    refused({.sensor = sensor, .sampling_rate = 0});
    refused({.sensor = sensor, .averaged_frames = 0});
    refused({.sensor = sensor, .sound_speed = -1});
    refused({.sensor = sensor, .layer_spacing = -1e-3});
    refused({.sensor = sensor, .code_length = -1});
    CHECK_THROWS_AS((void)required_signal_to_noise({.sensor = sensor}, 0), InvalidInput);
}
