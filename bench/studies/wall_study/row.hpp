// One recording of the study: what it is like, and what came of tracking it.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "echosieve/motion/track_artery.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "layered_bound.hpp"
#include "support/score.hpp"

namespace wall_study {

using namespace echosieve;

/// Frames whose quality lies in one tenth of 0 to 1.
struct QualityBin {
    double count = 0, within = 0, quality = 0;
};

/// Frames whose error lies within 1 and 1.96 standard deviations of it.
struct Coverage {
    double count = 0, one = 0, two = 0;
    double square = 0;  // sum of the squared standard deviations [m^2]

    void add(double error, double deviation);
    [[nodiscard]] double deviation() const;  // rms [m]
};

/// One wall's errors, and what is said of them.
struct WallErrors {
    Coverage coverage;
    examples::ErrorParts parts;
    double within = 0;  // part of the valid frames within close_motion of the truth
};

/// A level that is one number a recording: its error, and the standard deviation said of it [m].
struct Level {
    double error = 0, deviation = 0;
};

/// Mean over the valid frames, measured less true, of the layer that the tracker says it follows.
struct Levels {
    Level diameter, near, far;
};

/// In the order of their numbers in the details.
enum class Simulator { section, volume, layered };
inline constexpr std::array simulators{Simulator::section, Simulator::volume, Simulator::layered};
inline constexpr std::array<const char*, 3> simulator_names{"section", "volume", "layered"};

inline constexpr double large_error = 10e-6;  ///< of a distension, rms [m]

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
    WallErrors near_errors, far_errors;  // over the valid frames
    LayeredBound bound;                  // of a layered recording with an artery
    Levels levels;                       // 0 where there is no valid frame
    Coverage distension_coverage;
    std::array<QualityBin, 10> bins{};
};

/// Whether the tracker says that the distension may be off by over 10 um: low quality, or a 95 %
/// interval that reaches so far.
[[nodiscard]] bool flagged(const Row& row);

/// What is changed of a recording before it is tracked.
struct Changes {
    bool sensor_size = false;          ///< the tracker is told it, where the simulator has one
    std::vector<std::string> without;  ///< effects of layered lines, see effects.hpp
};

/// Draws the recording of a row's simulator, kind and seed, tracks it and scores it.
void study_recording(Row& row, const DrawOptions& draw, const TrackOptions& track,
                     const Changes& changes = {});

}  // namespace wall_study
