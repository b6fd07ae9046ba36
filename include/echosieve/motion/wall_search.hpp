// Finds the artery and takes both walls out of the tissue on them, whichever pulse shows them best.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion.hpp"
#include "echosieve/motion/joint_motion.hpp"
#include "echosieve/motion/layers.hpp"
#include "echosieve/motion/line.hpp"
#include "echosieve/motion/pulse_candidates.hpp"
#include "echosieve/motion/wall_confidence.hpp"
#include "echosieve/motion/wall_finder.hpp"
#include "echosieve/motion/wall_motion.hpp"
#include "echosieve/motion/wall_separation.hpp"

namespace echosieve {

// The tissue's pulse comes first, refined on tissue gates. Where the tissue hardly pulsates it is
// noise: so the most opposed guesses of pulse_candidates.hpp are scanned for walls too. Those that
// promise enough are taken apart in turn until there is confidence in both walls; the pair with
// most confidence stays. Evidence alone can't judge: it grows with how badly a pulse suits the
// tissue.

struct WallSearchOptions {
    PulseCandidateOptions candidates;
    std::size_t most_candidates = 3;  ///< that are scanned beside the tissue's pulse
    double least_opposition = 0.8;    ///< of a candidate, over that of the tissue's pulse
    double least_promise = 0.1;       ///< of a pair, over the most promising one's, to be tried
    /// confidence of both walls that ends the search: the rest promise less, and a pair in slow
    /// tissue can look surer than the walls where tissue echoes are the stronger ones
    double sure = 0.5;
    /// mean evidence of a wall below which tissue explains its gate nearly as well: such a pair is
    /// tried again from `smaller_start` times its shares, if no other is trusted
    double hardly_seen = 0.1;
    double smaller_start = 0.6;
};

inline void validate(const WallSearchOptions& options) {
    validate(options.candidates);
    require(options.least_opposition >= 0, "least_opposition", options.least_opposition,
            "must be zero or more");
    require(options.least_promise >= 0, "least_promise", options.least_promise,
            "must be zero or more");
    require(options.hardly_seen >= 0, "hardly_seen", options.hardly_seen, "must be zero or more");
    require(options.smaller_start > 0 && options.smaller_start <= 1, "smaller_start",
            options.smaller_start, "must lie in (0, 1]");
    require(options.sure >= 0 && options.sure <= 1, "sure", options.sure, "must lie in [0, 1]");
}

/// Gates all along the line with one layer each, fitted from the shares that `motion` has nearby.
[[nodiscard]] std::vector<LayeredGate> tissue_gates(const LineHistory& line,
                                                    const CommonMotion& motion,
                                                    const LayerTimes& times,
                                                    const WallSeparationOptions& options);

/// Finds both walls and takes them apart from the tissue, from a first estimate of the common
/// motion. Nothing if there is no pair of walls, or if what looked like one is none once it is
/// taken apart. Throws InvalidInput for options outside their domain.
[[nodiscard]] std::optional<SeparatedWalls> find_and_separate_walls(
    const LineHistory& line, CommonMotion motion, const WallFinderOptions& finder = {},
    const WallSeparationOptions& separation = {}, const WallSearchOptions& options = {},
    const WallMotionOptions& motion_options = {}, const WallConfidenceOptions& confidence = {});

}  // namespace echosieve
