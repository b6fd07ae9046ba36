#include "support/tracking_options.hpp"

#include <algorithm>
#include <cstdio>
#include <string>

#include "echosieve/io/files.hpp"
#include "echosieve/io/recording_file.hpp"
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

void set_block_length(echosieve::BlockOptions& options, double length) {
    options.length = length;
    options.overlap = length / 2;
    options.shortest_fit = std::min(echosieve::BlockOptions{}.shortest_fit, length);
}

void tell_unknown_settings(const std::filesystem::path& file) {
    for (const std::string& field : echosieve::unknown_settings(file)) {
        std::fprintf(stderr, "%s: field '%s' is not understood, and left out\n",
                     echosieve::printable(file.string()).c_str(), field.c_str());
    }
}

void Warnings::tell(const std::vector<std::string>& warnings) {
    for (const std::string& warning : warnings) {
        if (said_.insert(warning).second) {
            std::fprintf(stderr, "%s: warning: %s\n", subject_.c_str(), warning.c_str());
        }
    }
}

}  // namespace examples
