// What a command line says of the pulse's delay, alike in all programs that follow an artery.
#pragma once

#include <CLI/CLI.hpp>
#include <optional>

#include "echosieve/core/recording.hpp"
#include "echosieve/motion/pulse_delay.hpp"

namespace examples {

/// --pulse-delay [s], and --no-pulse-delay for no estimate.
void add_pulse_delay(CLI::App& app, std::optional<double>& delay,
                     echosieve::PulseDelayOptions& options);

/// The settings with the delay, if there is one, in place of their own. Throws InvalidInput for one
/// outside its domain.
[[nodiscard]] echosieve::RecordingSettings with_pulse_delay(echosieve::RecordingSettings settings,
                                                            const std::optional<double>& delay);

}  // namespace examples
