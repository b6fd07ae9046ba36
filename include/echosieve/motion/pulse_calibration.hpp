// The pulse's delay measured on the echo of a flat reflector at a known depth.
#pragma once

#include <cstddef>

#include "echosieve/condition/options.hpp"
#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

// Symbols
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

inline void validate(const PulseCalibrationOptions& options) {
    validate(options.baseband);
    require(options.reach > 0 && options.reach <= longest_pulse_delay, "reach", options.reach,
            "must lie in (0, 10] [1 / bandwidth]");
    require(options.least_peak >= 1, "least_peak", options.least_peak, "must be at least 1");
}

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
