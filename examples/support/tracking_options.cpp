#include "support/tracking_options.hpp"

#include <algorithm>
#include <cstdint>
#include <string>
#include <variant>

#include "echosieve/core/error.hpp"
#include "support/options.hpp"

namespace examples {
namespace {

using echosieve::require;
using echosieve::Smoothing;

// Nothing of a pulse is left by longer smoothing, whatever the frame rate.
constexpr std::uint64_t most_smoothing_frames = 100000;
constexpr double longest_smoothing = 10000;  // [ms]

// A wall of more echoes than this is no wall, and each costs a pursuit's step.
constexpr std::uint64_t most_wall_echoes = 64;

void add_smoothing(CLI::App& app, Smoothing& smoothing) {
    app.add_option_function<std::string>(
           "--smoothing",
           [&smoothing](const std::string& kind) {
               smoothing = kind == "none"      ? Smoothing{echosieve::NoSmoothing{}}
                           : kind == "average" ? Smoothing{echosieve::MovingAverage{}}
                                               : echosieve::GaussianSmoothing{};
           },
           "Along frames: none (the fit is smooth already), a Gaussian, or a moving average")
        ->check(CLI::IsMember({"none", "gaussian", "average"}))
        ->default_str("none");
    add_number(
        app, "--smoothing-time",
        [&smoothing](double milliseconds) {
            auto* gaussian = std::get_if<echosieve::GaussianSmoothing>(&smoothing);
            require(gaussian != nullptr, "--smoothing-time", milliseconds,
                    "needs --smoothing gaussian");
            require(
                milliseconds >= 0 && milliseconds <= longest_smoothing, "--smoothing-time",
                milliseconds,
                echosieve::detail::concatenate("must lie in [0, ", longest_smoothing, "] [ms]"));
            gaussian->sigma = milliseconds * 1e-3;
        },
        "Standard deviation of the Gaussian [ms]")
        ->default_str("3");
    add_count(
        app, "--smoothing-frames",
        [&smoothing](std::uint64_t frames) {
            auto* average = std::get_if<echosieve::MovingAverage>(&smoothing);
            require(average != nullptr, "--smoothing-frames", frames, "needs --smoothing average");
            average->frames = static_cast<decltype(average->frames)>(frames);
        },
        {.least = 1, .most = most_smoothing_frames}, "Length of the moving average [frames]")
        ->default_str("30");
}

// Where the user says that a wall is.
void add_place(CLI::App& app, const std::string& wall, echosieve::DepthRange& range) {
    auto* depths = add_range(app, "--" + wall + "-range", range,
                             "Depths that the " + wall + " wall is looked for in [m]");
    add_number(
        app, "--" + wall + "-start",
        [&range](double depth) {
            constexpr double reach = 1e-3;  // [m]
            range = {depth - reach, depth + reach};
        },
        "Depth of the " + wall + " wall, known to 1 mm [m]")
        ->excludes(depths);
}

void add_block(CLI::App& app, RunOptions& run) {
    add_number(
        app, "--block",
        [&run](double length) {
            require(length >= 0, "--block", length, "must be zero or more [s]");
            run.in_blocks = length > 0;
            if (length > 0) {
                set_block_length(run.options, length);
            }
        },
        "Length of the blocks that a long recording is followed in [s]; 0: all at once "
        "[4 if it is longer than 10 s]");
}

}  // namespace

void add_tracking(CLI::App& app, RunOptions& run) {
    echosieve::TrackOptions& options = run.options.track;
    add_smoothing(app, options.smoothing);
    add_count(app, "--atoms", options.echoes.atoms, {.least = 1, .most = most_wall_echoes},
              "Echoes per wall, at most");
    app.add_option_function<std::string>(
           "--layer",
           [&options](const std::string& layer) {
               options.separation.reference.layer =
                   layer == "outer" ? echosieve::WallLayer::outer : echosieve::WallLayer::inner;
           },
           "Layer of the walls that is followed")
        ->check(CLI::IsMember({"outer", "inner"}))
        ->default_str("outer");
    add_number(app, "--least-correlation", options.least_correlation,
               "Of a frame's wall with its echo; a frame below it is not valid");
    add_number(app, "--dead-zone", options.walls.dead_zone,
               "No wall above this depth under the first sample [m]");
    add_place(app, "near", options.walls.near_range);
    add_place(app, "far", options.walls.far_range);
    add_pulse_delay(app, run.pulse_delay, options.pulse);
    add_block(app, run);
}

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

}  // namespace examples
