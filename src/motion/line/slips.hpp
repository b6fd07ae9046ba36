// Where the sensor slips along the line faster than the echoes' phase can be followed.
#pragma once

#include <vector>

#include "echosieve/condition/options.hpp"
#include "echosieve/motion/common_motion_options.hpp"

namespace echosieve {

// Symbols
//   y_i(z)  line i below the dead zone;  n frames of `span`
//   c_i(l) = |sum_z conj(y_i(z)) y_{i+n}(z + l)| / (|y_i| |y_{i+n}|),  largest at l_i
//
// Frames i to i + n slip if |l_i| > n largest_turn c / (4 pi f_0) and c_i(l_i) >=
// least_correlation. The modulus does not turn with the phase, so it knows no ambiguity of half a
// wavelength.

/// Per frame: whether it slips. Only pairs of good frames are compared. `dead_zone` is the depth
/// below the first sample that is left out [m]. Throws InvalidInput if the number of states differs
/// from the frames', or for options outside their domain.
[[nodiscard]] std::vector<bool> find_slips(const BasebandView& baseband,
                                           const std::vector<FrameState>& states, double dead_zone,
                                           const SlipOptions& options = {});

}  // namespace echosieve
