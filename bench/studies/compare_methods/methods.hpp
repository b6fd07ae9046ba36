// The methods that are compared, each on one recording.
#pragma once

#include <array>
#include <cstddef>
#include <string>

#include "echosieve/synthesis/render.hpp"
#include "support/score.hpp"

namespace compare_methods {

struct Method {
    const char* name;         // in the table's head and the picture's key
    const char* description;  // one line
};

inline constexpr std::array<Method, 5> methods = {{
    {"gated, by hand",
     "phase of the complex correlation of successive frames in a gate of 0.6 mm to each side of "
     "the "
     "true mean middle of each wall; mean over 30 frames"},
    {"gated, by hand, 3 ms",
     "the same, smoothed as the layers are: a Gaussian of 3 ms in place of the mean"},
    {"gated, automatic",
     "the same as the first, in gates that `find_wall_gates` sets without the truth"},
    {"pursuit",
     "ten echoes a wall and frame, the one nearest to the true depth in the first frame followed; "
     "mean over 30 frames (its options are the best of 36 that were tried on some of these "
     "scenes)"},
    {"layers", "`track_artery` with its default options, without the truth"},
}};
inline constexpr std::size_t by_hand = 0;
inline constexpr std::size_t layers = 4;

/// What a method made of one recording.
struct Outcome {
    bool found = false;
    std::string reason;  // where not found
    examples::Score score;
};

using Outcomes = std::array<Outcome, methods.size()>;

/// Runs all methods. The truth sets the gates of those that are set by hand, and scores all.
Outcomes run_methods(const echosieve::SyntheticRecording& made);

}  // namespace compare_methods
