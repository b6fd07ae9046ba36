// Frames in which the sensor had no contact: too short a time for block_frames.hpp to see, too
// weak an echo to be worth following.
#pragma once

#include <cstddef>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion_options.hpp"
#include "motion/line/line.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

// Symbols
//   C_i = smooth(sum_z conj(y_i) y_{i+1}),  E_i = smooth(sum_z (|y_i|^2 + |y_{i+1}|^2) / 2),
//         over depths below the dead zone
//   g_i = |C_i| / E_i  coherence of successive frames: echoes keep it near 1 whatever moves, noise
//         has none, and ring-down lies in the dead zone
//
// check_frames compares energies; where the noise is not far below the echoes, a frame without
// contact has nearly the energy of any other. Its coherence is gone all the same.

/// Marks the frames without contact as not usable and bridges them; says how many they are.
/// Throws InvalidInput for options outside their domain.
std::size_t leave_out_lost_contact(LineHistory& line, const ContactOptions& options = {});

}  // namespace echosieve
