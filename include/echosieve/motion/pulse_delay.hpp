// By how much the pulse's envelope peaks later than its echo arrives: as given, or estimated from
// the shape of the recording's own echoes.
#pragma once

#include <array>
#include <string_view>

#include "echosieve/condition/options.hpp"
#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/error.hpp"
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
//   probability of m proportional to prior_m exp(-E_m),  delay = mean of d_m over it.
//
// The tissue's speckle, of random phase, shows how the spectrum falls off; only the walls, two or
// three echoes each, show whether the pulse rises faster than it falls. Neither shows a delay that
// leaves the shape as it is, such as a cable's: that must be calibrated (pulse_calibration.hpp).
// Weights, floor and priors were chosen on synthetic recordings, numbers 201 to 260.

enum class DelaySource {
    unknown,   ///< taken for 0
    given,     ///< RecordingSettings::sensor.pulse_delay
    estimated  ///< from the shape of the echoes
};

[[nodiscard]] constexpr std::string_view describe(DelaySource source) noexcept {
    switch (source) {
        case DelaySource::unknown:
            return "unknown";
        case DelaySource::given:
            return "given";
        case DelaySource::estimated:
            return "estimated";
    }
    return "unknown";
}

struct PulseDelay {
    DelaySource source = DelaySource::unknown;
    double delay = 0;       ///< from an echo's arrival to its envelope's peak [s]
    double deviation = 0;   ///< standard deviation of an estimate, 0 otherwise [s]
    double zero_phase = 0;  ///< probability that the pulse has no delay, of an estimate
};

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

inline void validate(const PulseDelayOptions& options) {
    require(options.gaussian_prior >= 0 && options.gaussian_prior <= 1, "gaussian_prior",
            options.gaussian_prior, "must lie in [0, 1]");
    require(options.zero_phase_prior >= 0 && options.gaussian_prior + options.zero_phase_prior <= 1,
            "zero_phase_prior", options.zero_phase_prior,
            "must be zero or more and not exceed 1 together with gaussian_prior");
    require(options.wall_weight >= 0, "wall_weight", options.wall_weight, "must be zero or more");
    require(options.tissue_weight >= 0, "tissue_weight", options.tissue_weight,
            "must be zero or more");
    require(options.floor > 0 && options.floor < 1, "floor", options.floor, "must lie in (0, 1)");
    require(options.noise_left > 0 && options.noise_left <= 1, "noise_left", options.noise_left,
            "must lie in (0, 1]");
    require(options.piece >= 4 && options.piece <= 100, "piece", options.piece,
            "must lie in [4, 100] [1 / bandwidth]");
    require(options.largest_shift >= 0, "largest_shift", options.largest_shift,
            "must be zero or more [1/m]");
    detail::require_at_most(options.wall_weight, largest_option::factor, "wall_weight");
    detail::require_at_most(options.tissue_weight, largest_option::factor, "tissue_weight");
    detail::require_at_most(options.largest_shift, 1e3, "largest_shift", "[1/m]");
}

/// d_m [s] in recordings with such settings, to 1e-3 / B; 0 for zero phase. Throws InvalidInput for
/// settings outside their domain or a negative order.
[[nodiscard]] ECHOSIEVE_API double envelope_delay(const PulseShape& shape,
                                                  const RecordingSettings& settings,
                                                  const BasebandOptions& baseband = {});

}  // namespace echosieve
