// By how much the pulse's envelope peaks later than its echo arrives: as given, estimated from the
// shape of the recording's own echoes, or measured on a reflector's. Link echosieve::motion.
#pragma once

#include <array>
#include <cstddef>

#include "echosieve/condition/options.hpp"
#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

// Symbols
//   B        the sensor's -6 dB bandwidth;  nu frequency from the band's centre [Hz]
//   n        order of a pulse: envelope u^n exp(-u / tau), u > 0 the time since the arrival;
//            0 stands for a Gaussian that peaks as it arrives
//   P_n(nu)  spectrum: (1 + i 2 pi nu tau)^-(n + 1), (pi B tau)^2 = 10^(0.6 / (n + 1)) - 1, so that
//            -6 dB lie at B / 2; exp(-ln 10^0.3 (2 nu / B)^2) for n = 0
//   m        shape of a pulse: causal, P_n; or of zero phase, |P_n|, which peaks as it arrives
//   H(nu)    low-pass of the baseband
//   d_m      delay: where the envelope of the inverse transform of the shape times H peaks, within
//            B of the band's centre as the walls' gates have it
//   k        by how much attenuation shifts the band's centre: -k B a metre of depth
//   r_w(m, k)  part of a wall's energy that the best two echoes of the shape leave, the gate's
//              window on them;  M_w its bins
//   T(n, k)  -ln likelihood of the power spectra of pieces of the line, taken for Gaussian with
//            variance s |P_n H|^2 + what is left of the noise, s free (Whittle 1953)
//
//   E_m = min over k of  weight_t T + weight_w sum over walls (M_w - 3) ln max(r_w, floor),
//   p_m proportional to prior_m exp(-E_m),  delay = mean of d_m over it;
//   q_m = (1 - o) p_m + o prior_m,  deviation^2 = sum_m q_m E_m(d - delay)^2 + (0.1 / B)^2,
//   o = 0.25: a pulse need not be of this family, so the evidence within it never is certain;
//   d = d_m of a causal shape, anything alike in 0 .. 1 / B of one of zero phase: whether that is
//   counted from its peak or from where it begins, half a length of 2 / B before, no echo shows.
//
// The tissue's speckle, of random phase, shows how the spectrum falls off; only the walls, two or
// three echoes each, show whether the pulse rises faster than it falls. Neither shows a delay that
// leaves the shape as it is, such as a cable's: that must be calibrated (calibrate_pulse_delay).
// Weights, floor and priors were chosen on synthetic recordings, numbers 201 to 260.

/// What a pulse may look like.
struct PulseShape {
    int order = 0;           ///< n; 0 has zero phase in any case
    bool zero_phase = true;  ///< its spectrum's size alone
};

/// The shapes compared: the Gaussian, zero phase otherwise, causal. Higher orders look like a
/// Gaussian that comes late: no echo could tell.
inline constexpr std::array<PulseShape, 7> pulse_shapes = {
    {{0, true}, {1, true}, {2, true}, {3, true}, {1, false}, {2, false}, {3, false}}};

struct PulseDelayOptions {
    bool estimate = true;            ///< false: an unknown delay is taken for 0
    double gaussian_prior = 0.6;     ///< probability of the Gaussian
    double zero_phase_prior = 0.05;  ///< of the others of zero phase together; the rest is causal
    double wall_weight = 0.5;        ///< weight_w: tissue is left in the walls
    double tissue_weight = 2.0 / 3;  ///< weight_t: pieces overlap, a window ties bins together
    double floor = 0.003;            ///< a wall's energy is not explained better than to this part
    double noise_left = 0.1;         ///< part of the noise's power that the frames' mean leaves
    double piece = 8;                ///< length of a piece of line [1 / B]
    double largest_shift = 10;       ///< k up to here [1/m]
};

/// Throws InvalidInput, naming option, value and limit.
ECHOSIEVE_API void validate(const PulseDelayOptions& options);

/// d_m [s] in recordings with such settings, to 1e-3 / B; 0 for zero phase. Throws InvalidInput for
/// settings outside their domain or a negative order.
[[nodiscard]] ECHOSIEVE_API double envelope_delay(const PulseShape& shape,
                                                  const RecordingSettings& settings,
                                                  const BasebandOptions& baseband = {});

// The pulse's delay measured on the echo of a flat reflector at a known depth. Symbols
//   e(z) = |y(z)|^2   energy of the frames' mean, in the band that the walls' depths are read in
//   z_p               where it peaks within reach of the reflector's depth z_0
//   delay = (2 / c) (z_p - z_0)
//
// In water c differs from that of tissue: settings.sound_speed must be the water's, and z_0 be
// measured otherwise than by the echo. A cable's or a trigger's delay is part of what is found.

struct PulseCalibrationOptions {
    BasebandOptions baseband;
    double reach = 3;        ///< of the peak from the reflector's depth [1 / bandwidth]
    double least_peak = 10;  ///< of e, over its median along the line
};

ECHOSIEVE_API void validate(const PulseCalibrationOptions& options);

enum class CalibrationStatus {
    measured,
    no_frames,    ///< no frame that is neither dropped, clipped nor not finite
    no_echo,      ///< e peaks less than least_peak times over its median
    out_of_reach  ///< e is largest at the end of the reach: the echo lies elsewhere
};

struct PulseCalibration {
    CalibrationStatus status = CalibrationStatus::no_frames;
    double delay = 0;      ///< for Sensor::pulse_delay [s]
    double deviation = 0;  ///< standard deviation of the mean over the frames; 0 for one frame [s]
    double peak = 0;       ///< e at z_p over its median
    std::size_t frames = 0;  ///< used

    [[nodiscard]] bool usable() const noexcept { return status == CalibrationStatus::measured; }
};

/// Measures the delay in a recording of a reflector that lies still at `depth` [m], in at least one
/// frame; its echo must be the strongest within reach. Without noise the error is below 2e-3 /
/// bandwidth. Throws InvalidInput for settings or options outside their domain, or if the line does
/// not hold the depth with the reach around it.
[[nodiscard]] ECHOSIEVE_API PulseCalibration calibrate_pulse_delay(
    const Recording& recording, double depth, const PulseCalibrationOptions& options = {});

}  // namespace echosieve
