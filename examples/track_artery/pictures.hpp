// The pictures of track_artery, drawn by gnuplot.
#pragma once

#include <Eigen/Core>
#include <string>
#include <vector>

#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "support/results.hpp"

namespace track_artery {

/// Everything that the pictures show.
struct PictureData {
    const echosieve::RecordingSettings* settings = nullptr;
    const echosieve::ArteryMotion* motion = nullptr;
    Eigen::ArrayXXf measured;      // envelope of the band-passed frames, [frames x samples]
    Eigen::ArrayXXf isolated;      // envelope of the wall echoes alone, same grid
    echosieve::SamplingGrid grid;  // of both
    Eigen::ArrayXd frame;          // one band-passed frame, real
    Eigen::ArrayXd frame_walls;    // its wall echoes, real
    echosieve::SamplingGrid frame_grid;
    std::size_t frame_index = 0;
};

/// Draws measured_m_mode.png, wall_m_mode.png, frame_echoes.png and motion.png into the results and
/// returns their names. Throws std::runtime_error if gnuplot fails or a picture is not whole.
std::vector<std::string> draw_pictures(const PictureData& data, examples::Results& results);

}  // namespace track_artery
