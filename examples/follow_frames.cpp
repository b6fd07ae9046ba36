// follow_frames: learns an artery from the first seconds of frames on standard input, then prints
// where its walls are in each further frame, at once.
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <utility>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/frame_follower.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "support/command_line.hpp"
#include "support/frame_stream.hpp"
#include "support/options.hpp"

namespace {

// The first frames, as a recording.
echosieve::Recording first_seconds(double seconds, std::size_t samples,
                                   examples::FrameStream& stream) {
    constexpr double most_values = 1e9;  // 2 GB
    const double wanted = std::round(seconds * stream.settings().frame_rate);
    echosieve::require(wanted * static_cast<double>(samples) <= most_values,
                       "samples to learn from", wanted * static_cast<double>(samples),
                       echosieve::detail::concatenate("must not exceed ", most_values));
    std::vector<std::int16_t> all;
    std::size_t frames = 0;
    for (; static_cast<double>(frames) < wanted; ++frames) {
        const auto* frame = stream.next();
        if (frame == nullptr) {
            break;
        }
        all.insert(all.end(), frame->begin(), frame->end());
    }
    return {stream.settings(),
            echosieve::FrameMatrix<std::int16_t>(std::move(all), frames, samples)};
}

int follow(const examples::StreamOrders& orders, double learning,
           const echosieve::LearnOptions& options) {
    examples::FrameStream stream(orders, "follow_frames");
    const echosieve::Recording recording = first_seconds(learning, orders.samples, stream);
    const double start =
        static_cast<double>(recording.frame_count()) / recording.settings.frame_rate;
    const auto walls = echosieve::learn_walls(recording, options);
    if (!walls) {
        std::fprintf(stderr, "follow_frames: no artery in the first %.3f s\n", start);
        return examples::not_followed;
    }
    stream.warnings().tell(walls->warnings);
    echosieve::FrameFollower<std::int16_t> follower(*walls);
    examples::print_columns();
    while (const auto* frame = stream.next()) {
        examples::print_frame(follower.push(*frame).motion, start);
        examples::flush_output();
    }
    return follower.pushed() > 0 ? 0 : examples::not_followed;
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line(
        "follow_frames",
        "Learns an artery from the first seconds of frames of int16 samples on standard input, and "
        "follows its walls in those after, each printed before the next is read.");
    examples::StreamOrders orders;
    double learning = 3;
    echosieve::LearnOptions options;
    examples::add_stream(line.app(), orders, options.track.pulse);
    examples::add_number(
        line.app(), "--learn",
        [&](double time) {
            echosieve::require(time >= 0.5 && time <= 60, "--learn", time,
                               "must lie in [0.5, 60] [s]");
            learning = time;
        },
        "Time to learn from [s]")
        ->default_str("3");
    return line.run(argc, argv, [&] { return follow(orders, learning, options); });
}
