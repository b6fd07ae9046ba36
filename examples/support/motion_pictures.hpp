// The pictures of a motion and the recording it was found in, or not, drawn by gnuplot. Depth grows
// downwards in all of them. All throw std::runtime_error if gnuplot fails or a picture is not
// whole.
#pragma once

#include <cstddef>
#include <span>
#include <string>
#include <vector>

#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/block_motion.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "support/m_mode_image.hpp"
#include "support/motion_columns.hpp"
#include "support/results.hpp"

namespace examples {

/// A whole recording as an M-mode picture.
[[nodiscard]] MModeImage image_of(const echosieve::Recording& recording);

/// Draws measured_m_mode.png, wall_m_mode.png, frame_echoes.png and motion.png into the results and
/// returns their names. `of` ends their titles: ", line 2 of 3", say.
std::vector<std::string> draw_pictures(const echosieve::Recording& recording,
                                       const echosieve::ArteryMotion& motion,
                                       const echosieve::TrackOptions& options,
                                       const Results& results, const std::string& of = "");

/// A recording followed in blocks, as its pictures need it: of the frames that were read and of
/// those that are finished, what is seen on a screen.
struct BlockPictures {
    MModeImage image;
    MotionColumns motion;
};

/// Draws measured_m_mode.png and motion.png into the results and returns their names.
std::vector<std::string> draw_block_pictures(const BlockPictures& pictures,
                                             const std::vector<echosieve::BlockRecord>& blocks,
                                             const echosieve::TrackOptions& options,
                                             const Results& results);

/// The picture of a recording without.
inline constexpr const char* failed_picture = "failed_m_mode.png";

/// Why no artery was found.
struct Failure {
    std::string reason;             ///< a line
    std::string details;            ///< a line or two
    std::vector<double> best_pair;  ///< depths of walls that were not trusted, if any [m]
};

[[nodiscard]] Failure failure_of(const echosieve::ArteryMotion& motion);

/// Draws failed_m_mode.png into the results and returns its name: the recording, where walls were
/// looked for, and why none were found.
std::vector<std::string> draw_failure(const MModeImage& image, const Failure& failure,
                                      const echosieve::TrackOptions& options,
                                      const Results& results);

}  // namespace examples
