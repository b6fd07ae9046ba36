// The artery in several lines: found in one of them, then in the others by its pulse, and refined
// with the gates of all.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "echosieve/motion/lines_motion.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/search.hpp"
#include "motion/wall/separation.hpp"

namespace echosieve {

/// What is looked at: the lines, averaged, and where they lie along the vessel, if that is known.
struct LinesInView {
    std::vector<const LineHistory*> lines;
    std::vector<double> positions;  ///< [m], or none
};

/// The walls of each line, and the time courses that all share.
struct SearchedLines {
    LayerTimes times;              ///< with the lines' delays, in averaged frames
    std::vector<LineWalls> lines;  ///< empty: no artery
    std::size_t lead = 0;          ///< the one in which it was found first
};

/// `motions` are the lines' common motion, see estimate_common_motions.
[[nodiscard]] SearchedLines search_lines(const LinesInView& view, std::vector<CommonMotion> motions,
                                         const LinesOptions& options);

}  // namespace echosieve
