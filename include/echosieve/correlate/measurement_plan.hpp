// Planning a measurement: which displacement precision a sensor, its noise and its excitation
// allow.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <optional>
#include <span>
#include <vector>

#include "echosieve/atoms/echo_limits.hpp"
#include "echosieve/atoms/fisher_information.hpp"
#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/correlate/bound.hpp"
#include "echosieve/correlate/delay_limits.hpp"

namespace echosieve {

// Symbols (eta, alpha, f as in bound.hpp)
//   alpha_s    decay of the sensor's own pulse;  alpha_c that of a coded one's envelope, longer
//   gamma      chirp rate with which the coded pulse fills the sensor's band:
//              alpha_c (1 + (pi gamma / alpha_c)^2) = alpha_s
//   n          frames averaged
//
// At one peak amplitude the coded echo has sqrt(alpha_s / alpha_c) times the energy, and eta with
// it; compressed by its matched filter it is the sensor's pulse again, so that nothing else changes
// (Cook and Bernfeld 1967, Radar Signals; here exact for Gaussian envelopes). Averaging n frames
// makes eta n-fold while the wall stands still over them.

struct MeasurementPlan {
    Sensor sensor;
    double signal_to_noise = 20;   ///< peak of a short pulse's echo over the noise's deviation, one
                                   ///< frame of real samples [dB]
    double sampling_rate = 125e6;  ///< [Hz]
    std::size_t averaged_frames = 1;
    double sound_speed = 1540;  ///< [m/s]
    double layer_spacing = 0;   ///< of a second echo as loud, the wall's other layer [m]; 0: none
    double code_length = 0;     ///< -6 dB length of a coded pulse [s]; 0, or no more than the
                                ///< sensor's own: a short pulse
};

inline void validate(const MeasurementPlan& plan) {
    validate(plan.sensor);
    require(is_finite(plan.signal_to_noise), "signal_to_noise", plan.signal_to_noise,
            "must be finite [dB]");
    require(plan.sampling_rate > 0 && is_finite(plan.sampling_rate), "sampling_rate",
            plan.sampling_rate, "must be positive and finite [Hz]");
    require(plan.averaged_frames >= 1, "averaged_frames", plan.averaged_frames,
            "must be at least 1");
    require(plan.sound_speed > 0 && is_finite(plan.sound_speed), "sound_speed", plan.sound_speed,
            "must be positive and finite [m/s]");
    require(plan.layer_spacing >= 0 && is_finite(plan.layer_spacing), "layer_spacing",
            plan.layer_spacing, "must be zero or more and finite [m]");
    require(plan.code_length >= 0 && is_finite(plan.code_length), "code_length", plan.code_length,
            "must be zero or more and finite [s]");
}

/// What can be had at best: least standard deviations of unbiased estimates, see bound.hpp.
struct PlannedPrecision {
    double energy_to_noise = 0;  ///< eta, averaging and coding counted
    double coding_gain = 0;      ///< of eta over the short pulse's [dB]
    double displacement = 0;     ///< between two such measurements, by the phase [m]
    double depth = 0;            ///< of one echo, all of its parameters unknown [m]
    /// The displacement if the wall's two layers move each by themselves, shapes, amplitudes and
    /// phases known from many frames: the worst over their phases [m]; as `displacement` without a
    /// second layer.
    double layer_displacement = 0;
    bool layers_resolvable = true;      ///< that is below a tenth of a wavelength
    double cycle_skip_probability = 0;  ///< of the phase, without a prediction from other frames
    double blind_depth = 0;             ///< while the code is sent nothing is received [m]
};

/// The coded pulse of `length` [s] (-6 dB) that fills a sensor's band, at rest at 0 s; the short
/// pulse if that is no longer than the sensor's.
[[nodiscard]] inline ChirpedGabor<double> coded_pulse(const Sensor& sensor, double length) {
    validate(sensor);
    const double own = decay_from_bandwidth(sensor.bandwidth);
    const double wanted = length > 0 ? 1.2 * std::numbers::ln10 / (length * length) : own;
    const double decay = std::min(own, wanted);
    const double chirp = decay / std::numbers::pi * std::sqrt(std::max(own / decay - 1, 0.0));
    return {0, sensor.centre_frequency, bandwidth_from_decay(decay), chirp};
}

namespace detail {

// Least standard deviation of the arrival of the first of two echoes [s], arrivals alone unknown;
// infinite where the two can't be told apart, as echo_limits has it. In closed form, which costs a
// user's file no solver.
[[nodiscard]] inline double arrival_limit_of_two(const std::array<Echo<Gabor<double>>, 2>& echoes,
                                                 const SampledNoise& noise) {
    const FreeParameters arrivals{true, false, false, false, false, false};
    const Eigen::MatrixXd f =
        fisher_information(std::span<const Echo<Gabor<double>>>(echoes), arrivals, noise);
    const double own = 1 - f(0, 1) / f(0, 0) * (f(0, 1) / f(1, 1));  // of its information
    return own > LimitOptions{}.least_pivot ? 1 / std::sqrt(f(0, 0) * own)
                                            : std::numeric_limits<double>::infinity();
}

// The worst of those over the phases between the two layers of a wall.
[[nodiscard]] inline double worst_layer_arrival(const Gabor<double>& pulse, double apart,
                                                const SampledNoise& noise) {
    constexpr int phases = 48;  // 7.5 degrees: the worst is met to 0.2 %
    Gabor<double> second = pulse;
    second.arrival += apart;
    double worst = 0;
    for (int k = 0; k < phases; ++k) {
        const double phase = 2 * std::numbers::pi * k / phases;
        worst = std::max(worst,
                         arrival_limit_of_two({Echo<Gabor<double>>{pulse, {1, 0}},
                                               Echo<Gabor<double>>{second, std::polar(1.0, phase)}},
                                              noise));
    }
    return worst;
}

}  // namespace detail

/// Throws InvalidInput for an invalid plan.
[[nodiscard]] inline PlannedPrecision planned_precision(const MeasurementPlan& plan) {
    validate(plan);
    const Gabor<double> pulse{0, plan.sensor.centre_frequency, plan.sensor.bandwidth};
    const ChirpedGabor<double> code = coded_pulse(plan.sensor, plan.code_length);
    const double ratio = std::pow(10.0, plan.signal_to_noise / 20);
    PlannedPrecision out;
    const auto frames = static_cast<double>(plan.averaged_frames);
    const double coded = energy_to_noise(code, ratio, 1, plan.sampling_rate);
    out.energy_to_noise = frames * coded;
    out.coding_gain = 10 * std::log10(coded / energy_to_noise(pulse, ratio, 1, plan.sampling_rate));
    const EchoBound bound = echo_bound(pulse, out.energy_to_noise);  // compressed
    out.displacement = displacement(delay_bound(bound), plan.sound_speed);
    out.depth = displacement(bound.arrival, plan.sound_speed);
    out.cycle_skip_probability = cycle_skip_probability(pulse, out.energy_to_noise);
    out.blind_depth =
        displacement(pulse_length(decay_from_bandwidth(code.bandwidth), 40.0), plan.sound_speed);
    out.layer_displacement = out.displacement;
    if (plan.layer_spacing > 0) {
        const SampledNoise noise{
            std::sqrt(energy_to_noise(pulse, 1, 1, plan.sampling_rate) / out.energy_to_noise),
            plan.sampling_rate};
        const double worst =
            detail::worst_layer_arrival(pulse, 2 * plan.layer_spacing / plan.sound_speed, noise);
        out.layer_displacement = displacement(std::numbers::sqrt2 * worst, plan.sound_speed);
        const double wavelength = plan.sound_speed / plan.sensor.centre_frequency;
        out.layers_resolvable = out.layer_displacement < wavelength / 10;
    }
    return out;
}

/// The signal-to-noise ratio [dB] at which a plan reaches a displacement deviation [m] of the wall
/// (of its layers, if it has two). Throws InvalidInput for an invalid plan or wanted <= 0; infinite
/// if no ratio does.
[[nodiscard]] inline double required_signal_to_noise(MeasurementPlan plan, double wanted) {
    require(wanted > 0 && is_finite(wanted), "wanted", wanted, "must be positive and finite [m]");
    plan.signal_to_noise = 0;
    // All deviations go as 1 / sqrt(eta).
    const double now = planned_precision(plan).layer_displacement;
    return 20 * std::log10(now / wanted);
}

}  // namespace echosieve
