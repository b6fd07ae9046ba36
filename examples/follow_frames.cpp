// follow_frames: learns an artery from the first seconds of frames on standard input, then prints
// where its walls are in each further frame, at once.
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/io/recording_file.hpp"
#include "echosieve/motion/frame_follower.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "support/command_line.hpp"
#include "support/options.hpp"
#include "support/standard_streams.hpp"
#include "support/tracking_options.hpp"

namespace {

struct Orders {
    std::string settings;
    std::size_t samples = 0;
    double learning = 3;  // [s]
    std::optional<double> pulse_delay;
    echosieve::LearnOptions options;
};

// The first frames, as a recording.
echosieve::Recording first_seconds(const Orders& orders, examples::FrameInput& input,
                                   examples::Warnings& warnings) {
    constexpr double most_values = 1e9;  // 2 GB
    echosieve::Recording recording;
    recording.settings =
        examples::with_pulse_delay(echosieve::read_settings(orders.settings), orders.pulse_delay);
    examples::tell_unknown_settings(orders.settings);
    warnings.tell(echosieve::settings_warnings(recording.settings, orders.samples));
    const double wanted = std::round(orders.learning * recording.settings.frame_rate);
    echosieve::require(wanted * static_cast<double>(orders.samples) <= most_values,
                       "samples to learn from", wanted * static_cast<double>(orders.samples),
                       echosieve::detail::concatenate("must not exceed ", most_values));
    std::vector<std::int16_t> frame(orders.samples);
    std::vector<std::int16_t> all;
    std::size_t frames = 0;
    for (; static_cast<double>(frames) < wanted && input.next(frame); ++frames) {
        all.insert(all.end(), frame.begin(), frame.end());
    }
    recording.samples =
        echosieve::FrameMatrix<std::int16_t>(std::move(all), frames, orders.samples);
    return recording;
}

void tell_cut(const examples::FrameInput& input) {
    if (input.cut_short()) {
        std::fprintf(stderr, "follow_frames: the last frame is cut short and left out\n");
    }
}

int follow(const Orders& orders) {
    examples::FrameInput input;
    examples::Warnings warnings("follow_frames");
    const echosieve::Recording recording = first_seconds(orders, input, warnings);
    const double start =
        static_cast<double>(recording.frame_count()) / recording.settings.frame_rate;
    const auto walls = echosieve::learn_walls(recording, orders.options);
    if (!walls) {
        tell_cut(input);
        std::fprintf(stderr, "follow_frames: no artery in the first %.3f s\n", start);
        return examples::not_followed;
    }
    warnings.tell(walls->warnings);
    echosieve::FrameFollower<std::int16_t> follower(*walls);
    std::vector<std::int16_t> frame(orders.samples);
    std::printf("time_s,near_wall_m,far_wall_m,diameter_m,diameter_std_m,valid,quality\n");
    while (input.next(frame)) {
        const echosieve::FrameMotion& m = follower.push(frame).motion;
        std::printf("%.6f,%.9f,%.9f,%.9f,%.9f,%d,%.4f\n", start + m.time, m.near_wall, m.far_wall,
                    m.diameter, m.diameter_std, m.valid ? 1 : 0, m.quality);
        examples::flush_output();
    }
    tell_cut(input);
    return follower.pushed() > 0 ? 0 : examples::not_followed;
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line(
        "follow_frames",
        "Learns an artery from the first seconds of frames of int16 samples on standard input, and "
        "follows its walls in those after, each printed before the next is read.");
    Orders orders;
    CLI::App& app = line.app();
    app.add_option("SETTINGS.json", orders.settings, "Settings of the recording")->required();
    examples::add_count(app, "--samples", orders.samples, {.most = examples::longest_frame},
                        "Samples a frame")
        ->required();
    examples::add_number(
        app, "--learn",
        [&](double time) {
            echosieve::require(time >= 0.5 && time <= 60, "--learn", time,
                               "must lie in [0.5, 60] [s]");
            orders.learning = time;
        },
        "Time to learn from [s]")
        ->default_str("3");
    examples::add_pulse_delay(app, orders.pulse_delay, orders.options.track.pulse);
    return line.run(argc, argv, [&] { return follow(orders); });
}
