// Gates for the customary way, set without a hand: two strong echoes that move against each other.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "baselines/gated_track.hpp"
#include "echosieve/condition/options.hpp"

namespace echosieve::baselines {

// Symbols
//   A(z)  mean envelope over the usable frames;  z_n < z_f two of its strongest maxima
//   u_n, u_f  their displacements, without the part slower than slow_frequency [m]
//   d = u_f - u_n;  sigma_d its standard deviation
//   score = sqrt(A(z_n) A(z_f)) sigma_d
//
// A pair counts if the two move against each other (sum of u_n u_f below 0), if d rises faster than
// it falls, as an artery does (sum of the cubed steps above 0), and if sigma_d is large enough.
// Deliberately plain: tissue that moves with the artery and outshines the wall is taken for it.

struct GateSearchOptions {
    double half_length = 0.6e-3;       ///< of the gates [m]
    double dead_zone = 3.0e-3;         ///< below the first sample where no wall is looked for [m]
    double smallest_diameter = 3e-3;   ///< between the gates' centres [m]
    double largest_diameter = 13e-3;   ///< [m]
    std::size_t candidates = 12;       ///< maxima of the envelope that are tried
    double lowest_peak = 0.1;          ///< of the highest maximum; lower ones are not tried
    double envelope_smoothing = 1e-4;  ///< of A over depth, Gaussian [m]
    double slow_frequency = 0.7;       ///< below it a motion is breathing [Hz]
    double smallest_motion = 15e-6;    ///< least sigma_d [m]
};

void validate(const GateSearchOptions& options);

/// The pair of gates with the highest score, or nothing if no pair counts; `states` say which
/// frames to use. Throws InvalidInput unless there is a state a frame, and for options outside
/// their domain.
[[nodiscard]] std::optional<WallGates> find_wall_gates(const BasebandView& baseband,
                                                       const std::vector<FrameState>& states,
                                                       const GateSearchOptions& options = {});

}  // namespace echosieve::baselines
