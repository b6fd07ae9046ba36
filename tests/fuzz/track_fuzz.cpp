// track_artery on small recordings of any settings and options.
#include <cmath>
#include <cstddef>
#include <cstdint>

#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "input.hpp"
#include "recording.hpp"
#include "refused.hpp"

using namespace echosieve;
using namespace echosieve::fuzz;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    FuzzInput in(data, size);
    const TrackOptions options = any_track_options(in);
    const Recording recording = any_recording(in);
    ArteryMotion motion;
    if (!accepted([&] { motion = track_artery(recording, options); })) {
        return 0;
    }
    hold(motion.status != TrackStatus::not_run, "a recording that was not looked at");
    hold(motion.frames.empty() || motion.frames.size() == recording.frame_count(),
         "frames were lost");
    for (const FrameMotion& frame : motion.frames) {
        hold(!frame.valid || (std::isfinite(frame.diameter) && std::isfinite(frame.near_wall) &&
                              std::isfinite(frame.near_wall_std)),
             "a valid frame without numbers");
        hold(frame.quality >= 0 && frame.quality <= 1, "a quality that is no chance");
    }
    return 0;
}
