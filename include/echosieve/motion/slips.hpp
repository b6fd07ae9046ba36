// Where the sensor slips along the line faster than the echoes' phase can be followed.
#pragma once

#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/scalar.hpp"

namespace echosieve {

// Symbols
//   y_i(z)  line i below the dead zone;  n frames of `span`
//   c_i(l) = |sum_z conj(y_i(z)) y_{i+n}(z + l)| / (|y_i| |y_{i+n}|),  largest at l_i
//
// Frames i to i + n slip if |l_i| > n largest_turn c / (4 pi f_0) and c_i(l_i) >=
// least_correlation. The modulus does not turn with the phase, so it knows no ambiguity of half a
// wavelength.

struct SlipOptions {
    double span = 10e-3;          ///< between the lines compared [s]
    double largest_turn = 1.2;    ///< of the phase from frame to frame that can be followed [rad]
    double largest_shift = 3e-3;  ///< within span that is looked for [m]
    double least_correlation = 0.5;  ///< of the shifted lines
};

inline void validate(const SlipOptions& options) {
    require(options.span > 0 && is_finite(options.span), "span", options.span,
            "must be positive and finite [s]");
    require(options.largest_turn > 0 && is_finite(options.largest_turn), "largest_turn",
            options.largest_turn, "must be positive and finite [rad]");
    require(options.largest_shift > 0 && is_finite(options.largest_shift), "largest_shift",
            options.largest_shift, "must be positive and finite [m]");
    require(options.least_correlation > 0 && options.least_correlation <= 1, "least_correlation",
            options.least_correlation, "must lie in (0, 1]");
}

/// Per frame: whether it slips. Only pairs of good frames are compared. `dead_zone` is the depth
/// below the first sample that is left out [m]. Throws InvalidInput if the number of states differs
/// from the frames', or for options outside their domain.
[[nodiscard]] std::vector<bool> find_slips(const Baseband<double>& baseband,
                                           const std::vector<FrameState>& states, double dead_zone,
                                           const SlipOptions& options = {});

}  // namespace echosieve
