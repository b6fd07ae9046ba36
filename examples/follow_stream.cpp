// follow_stream: follows both artery walls in frames as they come on standard input.
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <optional>
#include <string>
#include <vector>

#include "echosieve/core/recording.hpp"
#include "echosieve/io/recording_file.hpp"
#include "echosieve/motion/block_tracker.hpp"
#include "support/command_line.hpp"
#include "support/options.hpp"
#include "support/standard_streams.hpp"
#include "support/tracking_options.hpp"

namespace {

struct Orders {
    std::string settings;
    std::size_t samples = 0;
    std::optional<double> pulse_delay;
    echosieve::BlockOptions options;
};

void print_finished(echosieve::BlockTracker<std::int16_t>& tracker) {
    for (const echosieve::FrameMotion& m : tracker.take()) {
        std::printf("%.6f,%.9f,%.9f,%.9f,%d,%.4f\n", m.time, m.near_wall, m.far_wall, m.diameter,
                    m.valid ? 1 : 0, m.quality);
    }
    examples::flush_output();
}

int follow(const Orders& orders) {
    const echosieve::RecordingSettings settings =
        examples::with_pulse_delay(echosieve::read_settings(orders.settings), orders.pulse_delay);
    examples::tell_unknown_settings(orders.settings);
    examples::Warnings warnings("follow_stream");
    warnings.tell(echosieve::settings_warnings(settings, orders.samples));
    echosieve::BlockTracker<std::int16_t> tracker(settings, orders.samples, orders.options);
    std::fprintf(stderr, "Each frame is finished %.2f s later at most.\n", tracker.latency());
    std::printf("time_s,near_wall_m,far_wall_m,diameter_m,valid,quality\n");
    std::vector<std::int16_t> frame(orders.samples);
    examples::FrameInput input;
    std::size_t blocks = 0;
    while (input.next(frame)) {
        tracker.push(frame);
        print_finished(tracker);
        if (tracker.blocks().size() > blocks) {
            blocks = tracker.blocks().size();
            warnings.tell(tracker.warnings());
        }
    }
    if (input.cut_short()) {
        std::fprintf(stderr, "follow_stream: the last frame is cut short and left out\n");
    }
    tracker.finish();
    print_finished(tracker);
    warnings.tell(tracker.warnings());
    std::size_t found = 0;
    for (const echosieve::BlockRecord& block : tracker.blocks()) {
        found += block.fitted_count > 0 ? 1 : 0;
    }
    std::fprintf(stderr, "Walls in %zu of %zu blocks.\n", found, tracker.blocks().size());
    return found > 0 ? 0 : examples::not_followed;
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line(
        "follow_stream",
        "Follows both artery walls in frames of int16 samples as they come on standard input, and "
        "prints each frame once it is finished: one block later at most.");
    Orders orders;
    CLI::App& app = line.app();
    app.add_option("SETTINGS.json", orders.settings, "Settings of the recording")->required();
    examples::add_count(app, "--samples", orders.samples, {.most = examples::longest_frame},
                        "Samples a frame")
        ->required();
    examples::add_number(
        app, "--block", [&](double length) { examples::set_block_length(orders.options, length); },
        "Length of a block [s]")
        ->default_str("4");
    examples::add_number(app, "--overlap", orders.options.overlap,
                         "Of a block with the next [s], at most half of its length; without it "
                         "that half");
    examples::add_pulse_delay(app, orders.pulse_delay, orders.options.track.pulse);
    return line.run(argc, argv, [&] { return follow(orders); });
}
