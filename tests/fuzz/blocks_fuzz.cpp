// BlockTracker on small recordings, pushed in any pieces: any settings, options and frames.
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <variant>

#include "echosieve/motion/block_tracker.hpp"
#include "input.hpp"
#include "recording.hpp"
#include "refused.hpp"

using namespace echosieve;
using namespace echosieve::fuzz;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    FuzzInput in(data, size);
    BlockOptions options;
    options.length = in.byte() < 200 ? 0.8 : in.number(0.8);
    options.overlap = in.byte() < 200 ? 0.4 : in.number(0.4);
    if (in.byte() >= 200) {
        options.search_reach = in.number(1.5e-3);
        options.largest_jump = in.number(0.3e-3);
        options.confirmations = in.whole(3);
        options.longest_gap = in.number(0.5);
        options.drift_time = in.number(120);
    }
    options.shortest_fit = in.byte() < 200 ? 0.7 : in.number(1.5);
    options.longest_loss = in.byte() < 200 ? 1 : in.number(1);
    options.track = any_track_options(in);
    // How well walls are found is the target track's matter: here in the fewest rounds.
    WallSeparationOptions& separation = options.track.separation;
    separation.rounds = std::min(separation.rounds, 1);
    separation.fine_rounds = std::min(separation.fine_rounds, 1);
    options.track.search.most_candidates =
        std::min<std::size_t>(options.track.search.most_candidates, 1);
    const Recording recording = any_recording(in, 125);  // two blocks, and a rest
    std::visit(
        [&]<class T>(const FrameMatrix<T>& frames) {
            std::size_t taken = 0;
            static_cast<void>(accepted([&] {
                BlockTracker<T> tracker(recording.settings, frames.samples(), options);
                for (std::size_t i = 0; i < frames.frames();) {
                    const std::size_t count = std::min(frames.frames() - i, in.count(1, 100));
                    tracker.push(frames.view().part(i, count));
                    i += count;
                    for (const FrameMotion& frame : tracker.take()) {
                        hold(!frame.valid || std::isfinite(frame.diameter),
                             "a valid frame without a diameter");
                        ++taken;
                    }
                }
                tracker.finish();
                taken += tracker.take().size();
                hold(taken == frames.frames(), "frames were lost");
            }));
        },
        recording.samples);
    return 0;
}
