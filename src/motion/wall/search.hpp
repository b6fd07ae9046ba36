// Finds the artery and takes both walls out of the tissue on them, whichever pulse shows them best.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/courses/pulse_candidates.hpp"
#include "motion/layers/joint_motion.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/finder.hpp"
#include "motion/wall/own_motion.hpp"
#include "motion/wall/separation.hpp"

namespace echosieve {

// The tissue's pulse comes first, refined on tissue gates. Where the tissue hardly pulsates it is
// noise: so the most opposed guesses of pulse_candidates.hpp are scanned for walls too. Those that
// promise enough are taken apart in turn until there is confidence in both walls; the pair with
// most confidence stays. Evidence alone can't judge: it grows with how badly a pulse suits the
// tissue.

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
