// What can be done to one wall's gate: the stages of its fit.
#pragma once

#include <span>

#include "echosieve/motion/wall_options.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/fit.hpp"
#include "motion/wall/stages.hpp"

namespace echosieve {

/// A wall whose fit is under way, and what only its stages know.
struct WallInWork {
    SeparatedWall& wall;
    double line_bulk = 1;  ///< b of the line where the wall was found
    ShareBounds bounds{};
    double anchor = 0;  ///< depth of its strongest echo when it was placed first [m]
};

/// The stages in turn, while all moves by `times`: each takes the wall's gate apart where the wall
/// is thought to be, or says better where it is.
void walk(std::span<const Stage> stages, WallInWork& work, const LayerTimes& times,
          const LineHistory& line, const WallSeparationOptions& options);

}  // namespace echosieve
