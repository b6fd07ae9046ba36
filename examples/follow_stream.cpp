// follow_stream: follows both artery walls in frames as they come on standard input.
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdio>

#include "echosieve/motion/block_tracker.hpp"
#include "support/command_line.hpp"
#include "support/frame_stream.hpp"
#include "support/options.hpp"
#include "support/tracking_options.hpp"

namespace {

void print_finished(echosieve::BlockTracker<std::int16_t>& tracker) {
    for (const echosieve::FrameMotion& motion : tracker.take()) {
        examples::print_frame(motion);
    }
    examples::flush_output();
}

int follow(const examples::StreamOrders& orders, const echosieve::BlockOptions& options) {
    examples::FrameStream stream(orders, "follow_stream");
    echosieve::BlockTracker<std::int16_t> tracker(stream.settings(), orders.samples, options);
    std::fprintf(stderr, "Each frame is finished %.2f s later at most.\n", tracker.latency());
    examples::print_columns();
    std::size_t blocks = 0;
    while (const auto* frame = stream.next()) {
        tracker.push(*frame);
        print_finished(tracker);
        if (tracker.blocks().size() > blocks) {
            blocks = tracker.blocks().size();
            stream.warnings().tell(tracker.warnings());
        }
    }
    tracker.finish();
    print_finished(tracker);
    stream.warnings().tell(tracker.warnings());
    const auto found = std::ranges::count_if(
        tracker.blocks(), [](const auto& block) { return block.fitted_count > 0; });
    std::fprintf(stderr, "Walls in %td of %zu blocks.\n", found, tracker.blocks().size());
    return found > 0 ? 0 : examples::not_followed;
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line(
        "follow_stream",
        "Follows both artery walls in frames of int16 samples as they come on standard input, and "
        "prints each frame once it is finished: one block later at most.");
    examples::StreamOrders orders;
    echosieve::BlockOptions options;
    examples::add_stream(line.app(), orders, options.track.pulse);
    examples::add_number(
        line.app(), "--block", [&](double length) { examples::set_block_length(options, length); },
        "Length of a block [s]")
        ->default_str("4");
    examples::add_number(line.app(), "--overlap", options.overlap,
                         "Of a block with the next [s], at most half of its length; without it "
                         "that half");
    return line.run(argc, argv, [&] { return follow(orders, options); });
}
