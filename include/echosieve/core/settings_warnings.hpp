// What is unusual about a recording's settings, in sentences: nothing is refused for it.
#pragma once

#include <cstddef>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "echosieve/core/detail/plausible.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

/// A sentence for each setting outside its usual range (plausible.hpp), with value, range and the
/// likely slip of unit; none if all is as usual. `samples` a frame, if they are known: frames that
/// take longer than frame_rate leaves for them are named too. Throws InvalidInput for settings
/// outside their domain.
[[nodiscard]] inline std::vector<std::string> settings_warnings(const RecordingSettings& settings,
                                                                std::size_t samples = 0) {
    using detail::concatenate;
    validate(settings);
    std::vector<std::string> out;
    const auto look = [&](std::string_view name, double value, const PlausibleRange& range,
                          std::string_view unit, std::span<const detail::Unit> units) {
        if (!range.holds(value)) {
            out.push_back(concatenate(name, " = ", value, ": unusual, ", range.lowest, " to ",
                                      range.highest, " [", unit, "] is usual",
                                      detail::slip_of_unit(value, range, units)));
        }
    };
    const double centre = settings.sensor.centre_frequency;
    look("centre_frequency", centre, usual::centre_frequency, "Hz", detail::frequency_units);
    look("bandwidth", settings.sensor.bandwidth,
         {usual::relative_bandwidth.lowest * centre, usual::relative_bandwidth.highest * centre},
         "Hz", detail::frequency_units);
    look("sampling_rate", settings.sampling_rate, usual::sampling_rate, "Hz",
         detail::frequency_units);
    look("frame_rate", settings.frame_rate, usual::frame_rate, "Hz", detail::frequency_units);
    look("sound_speed", settings.sound_speed, usual::sound_speed, "m/s", detail::speed_units);
    if (settings.start_time != 0) {
        look("start_time", settings.start_time, usual::start_time, "s", detail::time_units);
    }
    const double lasts =
        settings.start_time + static_cast<double>(samples) / settings.sampling_rate;
    if (samples > 0 && lasts * settings.frame_rate > 1) {
        out.push_back(concatenate("frame_rate = ", settings.frame_rate, ": frames of ", samples,
                                  " samples end ", lasts, " s after their pulse, so at most ",
                                  1 / lasts, " [Hz] can follow one another"));
    }
    return out;
}

}  // namespace echosieve
