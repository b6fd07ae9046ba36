#include "support/pulse_delay_option.hpp"

#include "support/options.hpp"

namespace examples {

void add_pulse_delay(CLI::App& app, std::optional<double>& delay,
                     echosieve::PulseDelayOptions& options) {
    auto* given = add_number(app, "--pulse-delay", delay,
                             "From an echo's arrival to its envelope's peak, instead of the "
                             "settings' [s]");
    app.add_flag_callback(
           "--no-pulse-delay", [&options] { options.estimate = false; },
           "Where the delay is not given, take it for 0: no estimate")
        ->excludes(given);
}

echosieve::RecordingSettings with_pulse_delay(echosieve::RecordingSettings settings,
                                              const std::optional<double>& delay) {
    if (delay) {
        settings.sensor.pulse_delay = delay;
        validate(settings);
    }
    return settings;
}

}  // namespace examples
