// What a recording's settings can be, what they usually are, and which slip of unit puts one
// outside.
#pragma once

#include <array>
#include <span>
#include <string>
#include <string_view>

#include "echosieve/core/error.hpp"

namespace echosieve {

/// Ends included.
struct PlausibleRange {
    double lowest = 0;
    double highest = 0;

    [[nodiscard]] constexpr bool holds(double x) const noexcept {
        return x >= lowest && x <= highest;
    }
};

/// A setting outside its range is refused. The ranges are wide: from a 20 kHz transducer in a tank
/// of water to a 100 MHz one over skin.
namespace plausible {

inline constexpr PlausibleRange centre_frequency{20e3, 100e6};  ///< [Hz]
/// Over the centre frequency: resonators ring for some hundred cycles, and a -6 dB band that
/// reaches down to 0 Hz is none that a transducer can send.
inline constexpr PlausibleRange relative_bandwidth{0.002, 1.9};
/// Twice the lowest centre frequency, and the fastest digitisers [Hz].
inline constexpr PlausibleRange sampling_rate{40e3, 10e9};
/// Samples in 1 / bandwidth, at most: filters are four times as long, and 40,000 taps are enough.
inline constexpr double most_samples_a_bandwidth = 1e4;
/// A frame in a minute and a half, up to what an echo from under a millimetre allows [Hz].
inline constexpr PlausibleRange frame_rate{0.01, 1e6};
inline constexpr PlausibleRange start_time{0, 0.1};        ///< 75 m of water [s]
inline constexpr PlausibleRange sound_speed{300, 7000};    ///< from air to aluminium [m/s]
inline constexpr PlausibleRange sensor_size{0.1e-3, 0.1};  ///< of a face, either way [m]

}  // namespace plausible

/// A setting outside its range is unusual, and gets a warning. The ranges hold what looks at
/// arteries and other soft tissue from outside.
namespace usual {

inline constexpr PlausibleRange centre_frequency{0.5e6, 30e6};  ///< [Hz]
inline constexpr PlausibleRange relative_bandwidth{0.05, 1.4};  ///< over the centre frequency
inline constexpr PlausibleRange sampling_rate{1e6, 1e9};        ///< [Hz]
inline constexpr PlausibleRange frame_rate{50, 20e3};           ///< a pulse rises in 50 ms [Hz]
inline constexpr PlausibleRange start_time{1e-7, 1e-4};         ///< unless it is 0 [s]
inline constexpr PlausibleRange sound_speed{1400, 1650};        ///< water, fat to muscle [m/s]
inline constexpr PlausibleRange sensor_size{0.2e-3, 0.06};      ///< [m]

}  // namespace usual

namespace detail {

// What a number would be in the base unit if it were meant in this one.
struct Unit {
    double size;
    std::string_view name;
};

inline constexpr std::array<Unit, 3> frequency_units = {{{1e6, "MHz"}, {1e3, "kHz"}, {1e9, "GHz"}}};
inline constexpr std::array<Unit, 3> time_units = {{{1e-6, "us"}, {1e-3, "ms"}, {1e-9, "ns"}}};
inline constexpr std::array<Unit, 3> length_units = {{{1e-3, "mm"}, {1e-2, "cm"}, {1e-6, "um"}}};
inline constexpr std::array<Unit, 3> speed_units = {
    {{1e3, "km/s"}, {1e-2, "cm/s"}, {1e-3, "mm/s"}}};

// "; 1.54 looks like km/s", by the first unit in which the value would be usual; nothing if there
// is none.
[[nodiscard]] inline std::string slip_of_unit(double value, const PlausibleRange& usual_range,
                                              std::span<const Unit> units) {
    for (const Unit& unit : units) {
        if (usual_range.holds(value * unit.size)) {
            return concatenate("; ", value, " looks like ", unit.name);
        }
    }
    return {};
}

// One setting: its name and unit, what it can be and what it usually is.
struct SettingRanges {
    std::string_view name;
    PlausibleRange possible;
    PlausibleRange usual;
    std::string_view unit;
    std::span<const Unit> units;
};

inline constexpr SettingRanges centre_frequency_ranges{
    "centre_frequency", plausible::centre_frequency, usual::centre_frequency, "Hz",
    frequency_units};
inline constexpr SettingRanges sampling_rate_ranges{"sampling_rate", plausible::sampling_rate,
                                                    usual::sampling_rate, "Hz", frequency_units};
inline constexpr SettingRanges frame_rate_ranges{"frame_rate", plausible::frame_rate,
                                                 usual::frame_rate, "Hz", frequency_units};
inline constexpr SettingRanges start_time_ranges{"start_time", plausible::start_time,
                                                 usual::start_time, "s", time_units};
inline constexpr SettingRanges sound_speed_ranges{"sound_speed", plausible::sound_speed,
                                                  usual::sound_speed, "m/s", speed_units};
inline constexpr SettingRanges sensor_width_ranges{"sensor_width", plausible::sensor_size,
                                                   usual::sensor_size, "m", length_units};
inline constexpr SettingRanges sensor_length_ranges{"sensor_length", plausible::sensor_size,
                                                    usual::sensor_size, "m", length_units};
// Of a sensor with this centre frequency [Hz].
[[nodiscard]] constexpr SettingRanges bandwidth_ranges(double centre) noexcept {
    const auto over = [centre](const PlausibleRange& range) {
        return PlausibleRange{range.lowest * centre, range.highest * centre};
    };
    return {"bandwidth", over(plausible::relative_bandwidth), over(usual::relative_bandwidth), "Hz",
            frequency_units};
}

// Throws InvalidInput, with the likely slip of unit, unless the setting can have this value.
inline void require_plausible(double value, const SettingRanges& setting) {
    if (!setting.possible.holds(value)) {  // no text is made for a good one
        require(false, setting.name, value,
                concatenate("must lie in [", setting.possible.lowest, ", ",
                            setting.possible.highest, "] [", setting.unit, "]",
                            slip_of_unit(value, setting.usual, setting.units)));
    }
}

// The same of one that is 0 where it is not known.
inline void require_plausible_if_known(double value, const SettingRanges& setting) {
    if (value != 0) {
        require_plausible(value, setting);
    }
}

}  // namespace detail

}  // namespace echosieve
