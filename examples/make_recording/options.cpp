#include "support/options.hpp"
#include "make_recording/orders.hpp"
#include "support/event_kinds.hpp"

namespace make_recording {
namespace {

void add_scene(CLI::App& app, Orders& orders) {
    echosieve::SceneOptions& scene = orders.scene;
    echosieve::RecordingSettings& settings = scene.settings;
    examples::add_numbers(
        app, {{"--centre-frequency", settings.sensor.centre_frequency, "[Hz]"},
              {"--bandwidth", settings.sensor.bandwidth, "-6 dB, full width [Hz]"},
              {"--sampling-rate", settings.sampling_rate, "[Hz]"},
              {"--frame-rate", settings.frame_rate, "[Hz]"},
              {"--start-depth", orders.start_depth, "Depth of the first sample [m]"},
              {"--depth-range", scene.depth_range, "Recorded depth from there [m]"},
              {"--centre-depth", scene.centre_depth, "Depth of the artery's axis [m]"},
              {"--diameter", scene.diameter, "Inner diameter [m]"},
              {"--distension", scene.distension, "Of the inner diameter [m]"},
              {"--near-share", scene.near_share, "Part of the distension that the near wall takes"},
              {"--heart-rate", orders.heart_rate, "[1/min]"},
              {"--breathing", scene.breathing, "Peak to peak [m]"},
              {"--clutter", scene.clutter_decibels, "Tissue echoes, rms over the wall's peak [dB]"},
              {"--snr", scene.snr_decibels, "Wall's peak over the noise of a raw sample [dB]"},
              {"--dropped", orders.render.dropped_fraction, "Chance that a frame is dropped"}});
    app.add_option("--drop-kind", orders.drop_kind, "What a dropped frame holds")
        ->check(CLI::IsMember({"zeros", "noise", "repeat"}))
        ->capture_default_str();
}

void add_events(CLI::App& app, echosieve::SceneOptions& scene) {
    echosieve::SceneEvents& events = scene.events;
    examples::add_numbers(
        app, {{"--contact-loss", events.contact_loss_decibels,
               "Level of all echoes while contact is lost [dB], 0 or less"},
              {"--contact-loss-start", events.contact_loss_start, "[s]"},
              {"--contact-loss-length", events.contact_loss_length, "[s]"},
              {"--near-strength", events.near_strength_modulation,
               "Change of the near wall's echoes with the pulse, -1 to 1"},
              {"--far-strength", events.far_strength_modulation,
               "Change of the far wall's echoes with the pulse, -1 to 1"},
              {"--far-lag", events.far_wall_lag, "Far wall's pulse after the near wall's [s]"},
              {"--tissue-lag", events.tissue_lag, "Tissue's pulse after the near wall's [s]"},
              {"--reverberation-depth", events.reverberation_depth,
               "Extra path of a second echo of all [m]"},
              {"--reverberation", events.reverberation_decibels, "Level of that second echo [dB]"},
              {"--trigger-jitter", events.trigger_jitter, "rms [s]"},
              {"--sensor-step", events.sensor_step, "By which all depths grow [m]"},
              {"--sensor-step-time", events.sensor_step_time, "[s]"},
              {"--clipped", events.clipped_fraction, "Chance that a frame's gain bursts"},
              {"--ectopic", scene.pulse.ectopic_probability, "Chance of an ectopic beat"}});
}

void add_lines(CLI::App& app, echosieve::LinesPlan& lines) {
    CLI::Option* count =
        examples::add_count(app, "--lines", lines.count, {.most = echosieve::most_lines},
                            "Lines along the vessel, in one file of lines, frames and samples");
    examples::add_number(app, "--line-spacing", lines.spacing, "Between neighbours [m]")
        ->needs(count);
    examples::add_number(app, "--line-tilt", lines.tilt,
                         "Depth of the artery's axis over distance along the vessel")
        ->needs(count);
    examples::add_number(app, "--pulse-wave-velocity", lines.pulse_wave_velocity,
                         "Of the pulse, from the first line to the last [m/s]")
        ->needs(count);
}

}  // namespace

void add_options(CLI::App& app, Orders& orders) {
    app.add_option("NAME.npy", orders.name, "File to write")->required();
    examples::add_count(app, "--seed", orders.seed, {.least = 0}, "Seed of everything random");
    examples::add_number(app, "--seconds", orders.scene.duration, "Length [s]");
    app.add_flag("--float32", orders.as_float, "Write float32 instead of int16");
    app.add_option("--simulator", orders.simulator,
                   "section: cross-section, Gaussian pulses; volume: tilted vessel in a volume, "
                   "asymmetric pulses; layered: one line, walls of several layers whose echoes "
                   "change, viscous tissue, skewed pulses")
        ->check(CLI::IsMember({"section", "volume", "layered"}))
        ->capture_default_str();
    CLI::Option* drawn =
        app.add_option(
               "--drawn", orders.drawn,
               "Draw all but the length from the seed: an artery, or none: breathing, "
               "pulsating or still tissue; layered alone: an artery beside the line, a vein")
            ->check(CLI::IsMember(examples::line_kinds()));
    examples::add_number(app, "--event-probability", orders.event_probability,
                         "That each kind of event happens in a drawn recording")
        ->needs(drawn);
    app.add_option("--event", orders.only_event,
                   "The one kind of event that happens in a drawn recording")
        ->check(CLI::IsMember(examples::event_kinds()))
        ->needs(drawn);
    app.add_flag("--fine", orders.fine, "Sample a drawn recording at 125 MHz, not 40 or 60")
        ->needs(drawn);
    add_lines(*app.add_option_group("Several lines"), orders.lines);
    CLI::App* scene = app.add_option_group("Scene", "Not with --drawn");
    add_scene(*scene, orders);
    scene->excludes(drawn);
    CLI::App* events = app.add_option_group("Events", "Off by default, not with --drawn");
    add_events(*events, orders.scene);
    events->excludes(drawn);
}

}  // namespace make_recording
