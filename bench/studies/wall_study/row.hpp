// One recording of the study: what it is like, and what came of tracking it.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "echosieve/motion/track_artery.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "support/score.hpp"

namespace wall_study {

using namespace echosieve;

/// Frames whose quality lies in one tenth of 0 to 1.
struct QualityBin {
    double count = 0, within = 0, quality = 0;
};

/// In the order of their numbers in the details.
enum class Simulator { section, volume, layered };
inline constexpr std::array simulators{Simulator::section, Simulator::volume, Simulator::layered};
inline constexpr std::array<const char*, 3> simulator_names{"section", "volume", "layered"};

struct Row {
    Simulator simulator = Simulator::section;
    LineKind kind = LineKind::artery;
    std::uint64_t seed = 0;
    bool found = false;
    double seconds = 0;
    double quality = 0;
    examples::Score score;
    double delay = 0, delay_error = 0, delay_deviation = 0;  // of the pulse, as depth [m]
    // what the recording is like, and what the tracker says of itself
    double frequency = 0, share = 0, distension = 0, over_tissue = 0, snr = 0;
    WallReport near, far;
    WallSigns near_signs{}, far_signs{};
    // over the valid frames: rms standard deviation [m], part within close_motion of the truth
    double near_std = 0, far_std = 0, near_within = 0, far_within = 0;
    // of right walls: valid frames, those with errors within 1 and 1.96 standard deviations
    double right_frames = 0, within_one = 0, within_two = 0;
    std::array<QualityBin, 10> bins{};
};

/// Draws the recording of a row's simulator, kind and seed, tracks it and scores it.
void study_recording(Row& row, const DrawOptions& draw, const TrackOptions& track);

}  // namespace wall_study
