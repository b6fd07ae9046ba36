// Both walls taken out of the tissue on them: layers of all gates and the common time courses
// fitted together.
#pragma once

#include <span>
#include <vector>

#include "echosieve/motion/wall_options.hpp"
#include "motion/layers/joint_motion.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/finder.hpp"
#include "motion/wall/fit.hpp"

namespace echosieve {

/// Takes a pair of walls apart from the tissue on them. `tissue` are one-layer gates all along the
/// line; those near the walls are left out.
[[nodiscard]] SeparatedWalls separate_walls(const LineHistory& line, const WallPair& pair,
                                            LayerTimes times, std::vector<LayeredGate> tissue,
                                            const WallSeparationOptions& options = {});

/// One of several lines over an artery while its walls are taken apart.
struct LineWalls {
    const LineHistory& line;
    WallPair pair;  ///< as it was found
    SeparatedWalls walls;
    bool found = true;  ///< false: it shows no walls, and has tissue alone
};

/// As far as walls can be placed by time courses that stay as they are.
[[nodiscard]] LineWalls place_walls(const LineHistory& line, const WallPair& pair, LayerTimes times,
                                    std::vector<LayeredGate> tissue,
                                    const WallSeparationOptions& options = {});

/// Walls and time courses in turn, the courses by the gates of all lines together. `times` are the
/// courses that all share; each line's are what it sees of them. Throws nothing of its own.
void refine_walls(std::span<LineWalls> lines, LayerTimes& times, int rounds,
                  const WallSeparationOptions& options);

}  // namespace echosieve
