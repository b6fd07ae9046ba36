// follow_stream: follows both artery walls in frames as they come on standard input.
#include <CLI/CLI.hpp>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <exception>
#include <iostream>
#include <span>
#include <string>
#include <vector>

#include "echosieve/io/recording_file.hpp"
#include "echosieve/motion/block_tracker.hpp"

namespace {

void print_finished(echosieve::BlockTracker<std::int16_t>& tracker) {
    for (const echosieve::FrameMotion& m : tracker.take()) {
        std::printf("%.6f,%.9f,%.9f,%.9f,%d,%.4f\n", m.time, m.near_wall, m.far_wall, m.diameter,
                    m.valid ? 1 : 0, m.quality);
    }
    std::fflush(stdout);
}

}  // namespace

int main(int argc, char** argv) {
    CLI::App app{
        "Follows both artery walls in frames of int16 samples as they come on standard input, and "
        "prints each frame once it is finished: one block later at most.\n"
        "Research use: not a medical device, not for diagnosis."};
    std::string settings;
    std::size_t samples = 0;
    echosieve::BlockOptions options;
    app.add_option("SETTINGS.json", settings, "Settings of the recording")->required();
    app.add_option("--samples", samples, "Samples a frame")->required()->check(CLI::PositiveNumber);
    app.add_option("--block", options.length, "Length of a block [s]")->capture_default_str();
    app.add_option("--overlap", options.overlap, "Of a block with the next [s]")
        ->capture_default_str();
    CLI11_PARSE(app, argc, argv);
    try {
        echosieve::BlockTracker<std::int16_t> tracker(echosieve::read_settings(settings), samples,
                                                      options);
        std::fprintf(stderr, "Each frame is finished %.2f s later at most.\n", tracker.latency());
        std::printf("time_s,near_wall_m,far_wall_m,diameter_m,valid,quality\n");
        std::vector<std::int16_t> frame(samples);
        const auto bytes = static_cast<std::streamsize>(samples * sizeof(std::int16_t));
        while (std::cin.read(reinterpret_cast<char*>(frame.data()), bytes)) {
            tracker.push(std::span<const std::int16_t>(frame));
            print_finished(tracker);
        }
        if (std::cin.gcount() != 0) {
            std::fprintf(stderr, "follow_stream: the last frame is cut short and left out\n");
        }
        tracker.finish();
        print_finished(tracker);
        std::size_t found = 0;
        for (const echosieve::BlockRecord& block : tracker.blocks()) {
            found += block.fitted_count > 0 ? 1 : 0;
        }
        std::fprintf(stderr, "Walls in %zu of %zu blocks.\n", found, tracker.blocks().size());
        return found > 0 ? 0 : 2;
    } catch (const std::exception& problem) {
        std::fprintf(stderr, "follow_stream: %s\n", problem.what());
        return 1;
    }
}
