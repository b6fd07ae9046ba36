// What is looked at before and after a recording is followed: whether it can be, its offset, and
// what its samples say of its settings.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "echosieve/condition/detail/constant_offset.hpp"
#include "echosieve/condition/options.hpp"
#include "echosieve/core/detail/plausible.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/line/line.hpp"

namespace echosieve {

/// Sensors that look at arteries: below, the pulse is as long as an artery is wide; above, nothing
/// comes back from its far wall, and gates cost more than they are worth [Hz].
inline constexpr PlausibleRange trackable_centre{0.5e6, 30e6};
/// A gate's spectrum has bins in proportion, and the wall's model costs with them [Hz].
inline constexpr double trackable_bandwidth = 15e6;
/// A pulse rises within a tenth of a second [Hz].
inline constexpr double trackable_frame_rate = 10;
/// What a shorter line has of a mean may be its echoes' [1 / bandwidth].
inline constexpr double shortest_line_for_offset = 10;

/// Throws InvalidInput, naming value and limit, for settings with which no artery can be followed,
/// though samples can be taken with them: a sensor of another frequency, a band so narrow that a
/// gate does not resolve it; for shares too many to scan; and for ranges of the walls that lie
/// outside the line. `line` is the baseband's grid.
void require_trackable(const RecordingSettings& settings, const SamplingGrid& line,
                       const WallFinderOptions& walls, const WallSeparationOptions& separation);

/// The offset given with the options, or else the recording's own, if its lines are long enough for
/// it to be told.
template <class T>
[[nodiscard]] double settled_offset(const FrameView<T>& frames, const RecordingSettings& settings,
                                    const BasebandOptions& baseband, const OffsetOptions& options) {
    if (baseband.offset != 0) {
        return baseband.offset;
    }
    const double length = static_cast<double>(frames.samples()) / settings.sampling_rate;
    return length * settings.sensor.bandwidth >= shortest_line_for_offset
               ? constant_offset(frames, options)
               : 0;
}

/// What the samples say of the settings, see check_settings, and the `offset` that is taken off.
[[nodiscard]] SettingsCheck check_samples(const FrameView<std::int16_t>& frames,
                                          const RecordingSettings& settings,
                                          const std::vector<FrameState>& states,
                                          const SettingsCheckOptions& options, double offset);
[[nodiscard]] SettingsCheck check_samples(const FrameView<float>& frames,
                                          const RecordingSettings& settings,
                                          const std::vector<FrameState>& states,
                                          const SettingsCheckOptions& options, double offset);

/// Of what shows no echoes and no walls.
inline constexpr std::string_view noise_warning =
    "no band of echoes stands out of the recording's noise";

/// Puts its warnings before those of the motion, and lowers the qualities by its trust.
void apply(const SettingsCheck& check, ArteryMotion& motion);

/// A sentence for each range of the walls that ends above the dead zone's end.
void warn_of_ranges(const LineHistory& line, const WallFinderOptions& options,
                    std::vector<std::string>& warnings);

/// A sentence if the echoes' energy changes by more than 6 dB from one second or so to another:
/// the gain was changed, and the walls' strength with it.
void warn_of_gain_steps(const LineHistory& line, std::vector<std::string>& warnings);

}  // namespace echosieve
