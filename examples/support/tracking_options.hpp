// The options of programs that follow an artery.
#pragma once

#include <CLI/CLI.hpp>
#include <cstddef>
#include <optional>

#include "echosieve/core/recording.hpp"
#include "echosieve/motion/block_motion.hpp"
#include "echosieve/motion/pulse_delay.hpp"
#include "support/option_json.hpp"

namespace examples {

/// All that can be said of following a recording: smoothing, where the walls are looked for, their
/// layer and echoes, the pulse's delay, blocks.
void add_tracking(CLI::App& app, RunOptions& run);

/// --pulse-delay [s], and --no-pulse-delay for no estimate.
void add_pulse_delay(CLI::App& app, std::optional<double>& delay,
                     echosieve::PulseDelayOptions& options);

/// The settings with the delay, if there is one, in place of their own. Throws InvalidInput for one
/// outside its domain.
[[nodiscard]] echosieve::RecordingSettings with_pulse_delay(echosieve::RecordingSettings settings,
                                                            const std::optional<double>& delay);

/// Blocks of `length` [s] that overlap by half; the shortest part that is fitted is no longer.
void set_block_length(echosieve::BlockOptions& options, double length);

/// Samples a frame at most, a tenth of a second at 125 MHz: more is a slip.
inline constexpr std::size_t longest_frame = 12'500'000;

}  // namespace examples
