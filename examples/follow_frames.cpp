// follow_frames: learns an artery from the first seconds of frames on standard input, then prints
// where its walls are in each further frame, at once.
#include <CLI/CLI.hpp>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <exception>
#include <iostream>
#include <string>
#include <utility>
#include <vector>

#include "echosieve/io/recording_file.hpp"
#include "echosieve/motion/frame_follower.hpp"
#include "echosieve/motion/learned_walls.hpp"

int main(int argc, char** argv) {
    CLI::App app{
        "Learns an artery from the first seconds of frames of int16 samples on standard input, and "
        "follows its walls in those after, each printed before the next is read.\n"
        "Research use: not a medical device, not for diagnosis."};
    std::string settings;
    std::size_t samples = 0;
    double learning = 3;
    app.add_option("SETTINGS.json", settings, "Settings of the recording")->required();
    app.add_option("--samples", samples, "Samples a frame")->required()->check(CLI::PositiveNumber);
    app.add_option("--learn", learning, "Time to learn from [s]")
        ->check(CLI::Range(0.5, 60.0))
        ->capture_default_str();
    CLI11_PARSE(app, argc, argv);
    try {
        echosieve::Recording recording;
        recording.settings = echosieve::read_settings(settings);
        std::vector<std::int16_t> frame(samples);
        const auto bytes = static_cast<std::streamsize>(samples * sizeof(std::int16_t));
        const auto next = [&] {
            return bool(std::cin.read(reinterpret_cast<char*>(frame.data()), bytes));
        };
        std::vector<std::int16_t> all;
        const double rate = recording.settings.frame_rate;
        std::size_t learned = 0;  // frames
        for (; static_cast<double>(learned) < std::round(learning * rate) && next(); ++learned) {
            all.insert(all.end(), frame.begin(), frame.end());
        }
        const double start = static_cast<double>(learned) / rate;
        recording.samples = echosieve::FrameMatrix<std::int16_t>(std::move(all), learned, samples);
        const auto walls = echosieve::learn_walls(recording);
        if (!walls) {
            std::fprintf(stderr, "follow_frames: no artery in the first %.3f s\n", start);
            return 2;
        }
        echosieve::FrameFollower<std::int16_t> follower(*walls);
        std::printf("time_s,near_wall_m,far_wall_m,diameter_m,diameter_std_m,valid,quality\n");
        while (next()) {
            const echosieve::FrameMotion& m = follower.push(frame).motion;
            std::printf("%.6f,%.9f,%.9f,%.9f,%.9f,%d,%.4f\n", start + m.time, m.near_wall,
                        m.far_wall, m.diameter, m.diameter_std, m.valid ? 1 : 0, m.quality);
            std::fflush(stdout);
        }
        if (std::cin.gcount() != 0) {
            std::fprintf(stderr, "follow_frames: the last frame is cut short and left out\n");
        }
        return follower.pushed() > 0 ? 0 : 2;
    } catch (const std::exception& problem) {
        std::fprintf(stderr, "follow_frames: %s\n", problem.what());
        return 1;
    }
}
