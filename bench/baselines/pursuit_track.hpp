// A pursuit in every frame, to compare with: one echo near each wall is picked, and followed from
// frame to frame.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "baselines/gated_track.hpp"
#include "echosieve/condition/options.hpp"
#include "echosieve/motion/smoothing.hpp"

namespace echosieve::baselines {

// Symbols
//   e_0    the wall's echo in the first usable frame: the one that arrives nearest to its depth
//   e_i    the wall's echo in frame i: the one that arrives nearest to tau_0 + d_{i-1}
//   d_i    delay of e_i against e_0: the phase zero of their cross-correlation in closed form
//          (correlate/delay.hpp) next to d_{i-1} [s]
//
// Nothing but its arrival says which of a frame's echoes is the wall: where wall and tissue overlap
// a frame's echoes share them out anew each time.

/// spread, least_energy, association and least_amplitude are the best of 36 combinations tried on
/// 20 synthetic recordings of five levels of clutter and noise.
struct PursuitTrackOptions {
    std::size_t atoms = 10;        ///< echoes a gate and frame, at most
    double spread = 0.03;          ///< of centre frequency and bandwidth about the sensor's
    double least_energy = 1e-2;    ///< pursuit ends at this part of a frame's energy in the gate
    double association = 0.5;      ///< largest distance from the predicted arrival, pulse lengths
    double least_amplitude = 0.3;  ///< of a wall echo, relative to the first frame's
    Smoothing smoothing = MovingAverage{30};
};

void validate(const PursuitTrackOptions& options);

/// The part of a gate that a pursuit needs: the gate's wall lies in its middle, and the tissue's
/// echoes on either side have room.
inline constexpr double pursuit_half_length = 2.5e-3;  // [m]

/// Both walls by their echoes, through conditioned frames; `states` say which of them to use.
/// `gates` say where each wall is in the first usable frame; the pursuit takes pursuit_half_length
/// to each side, or the gate's half length where that is longer, cut to the line. Nothing if a
/// wall's echo was not found. Throws InvalidInput unless there is a state a frame and the gates
/// overlap the line, and for gates or options outside their domain.
[[nodiscard]] std::optional<WallPairTrack> track_echoes(const BasebandView& baseband,
                                                        const std::vector<FrameState>& states,
                                                        const WallGates& gates,
                                                        const PursuitTrackOptions& options = {});

}  // namespace echosieve::baselines
