// What is in doubt about a wall's share once it is taken apart: an error of gain, alike in all
// frames.
#pragma once

#include "echosieve/core/recording.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/layers/layers.hpp"
#include "motion/wall/fit.hpp"

namespace echosieve {

// Symbols (the rest as in model.hpp)
//   c_t, v    what is believed of the tissue on the wall: largest share, power
//   L(a)      log evidence of the share a for given c_t and v; a* where it is largest, L* there
//   T         values that say what one independent value would: what the model leaves out is alike
//             from frame to frame and bin to bin
//   s^2 = E (a* - E a*)^2 + E (T / -L''),  E with weights exp(L* / T) over a grid of c_t and v
//   phi = 2 pi f_0 (2 / c) sd (u_w - u_t)   u_w, u_t displacement of wall and tissue, the tissue's
//         layers weighed by their energy
//
//   J_f       slope of the wall's echoes with the share at frequency f, less what the spectra of all
//             layers could make up for;  R_f rest;  g_f = Re J_f^H R_f,  H_f = |J_f|^2
//   scatter = sqrt(sum g_f^2) / sum H_f
//
// What wall and tissue add up to at one frequency says little of what they do at the next: where
// the model is wrong, frequencies disagree about the share, and by how much the share is off
// follows from that (the sandwich covariance of Huber 1967 and White 1982, from memory, with
// frequencies for independent parts).
// A power posterior: the likelihood counts as its 1 / T-th power (Bissiri, Holmes and Walker 2016,
// from memory). Wall and tissue trade shares of each other's courses: how much, the tissue's
// beliefs decide, which no gate knows.

/// Standard deviation of a wall's share over what the tissue on it may be [m].
[[nodiscard]] double share_doubt(const SeparatedWall& wall, const LayerTimes& times,
                                 const RecordingSettings& settings,
                                 const WallModelOptions& options);

/// Standard deviation of a wall's share as the gate's frequencies disagree about it [m].
[[nodiscard]] double share_scatter(const SeparatedWall& wall, const LayerTimes& times);

/// phi [rad]: how far the wall's echo turns against that of the tissue on it.
[[nodiscard]] double separability(const SeparatedWall& wall, const LayerTimes& times,
                                  const RecordingSettings& settings);

}  // namespace echosieve
