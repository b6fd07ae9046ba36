// What is in doubt about a wall's share once it is taken apart: an error of gain, alike in all
// frames.
#pragma once

#include "echosieve/core/recording.hpp"
#include "motion/layers/layers.hpp"
#include "motion/wall/fit.hpp"

namespace echosieve {

// Symbols (the rest as in model.hpp)
//   J_f   slope of the wall's echoes with the share at frequency f, less what the spectra of wall,
//         tissue and what stands still could make up for;  R_f rest of the gate
//   g_f = Re J_f^H R_f,  H_f = |J_f|^2
//   scatter = sqrt(sum g_f^2) / sum H_f
//   phi = 2 pi f_0 (2 / c) sd (u_w - u_t)   u_w, u_t displacement of wall and tissue, the tissue's
//         layers weighed by their energy
//
// Wall and tissue trade shares of each other's courses, and where the model is wrong they do so at
// each frequency as their echoes happen to add up there: frequencies disagree about the share, and
// by how much it is off follows from that. Frames say nothing of it, since all err alike. It is the
// sandwich covariance (Huber 1967, White 1982, from memory) with frequencies for independent parts.

/// Standard deviation of a wall's share as the gate's frequencies disagree about it [m].
[[nodiscard]] double share_scatter(const SeparatedWall& wall, const LayerTimes& times);

/// phi [rad]: how far the wall's echo turns against that of the tissue on it.
[[nodiscard]] double separability(const SeparatedWall& wall, const LayerTimes& times,
                                  const RecordingSettings& settings);

}  // namespace echosieve
