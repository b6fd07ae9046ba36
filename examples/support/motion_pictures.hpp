// The pictures of a motion and the recording it was found in, drawn by gnuplot.
#pragma once

#include <string>
#include <vector>

#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "support/results.hpp"

namespace examples {

/// Draws measured_m_mode.png, wall_m_mode.png, frame_echoes.png and motion.png into the results and
/// returns their names. Throws std::runtime_error if gnuplot fails or a picture is not whole.
std::vector<std::string> draw_pictures(const echosieve::Recording& recording,
                                       const echosieve::ArteryMotion& motion, Results& results);

}  // namespace examples
