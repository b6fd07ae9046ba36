// The customary way, to compare with: both walls in gates set beforehand, displacement from the
// phase between successive frames, accumulated and averaged.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cstddef>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/scalar.hpp"
#include "echosieve/correlate/sampled.hpp"
#include "motion/line.hpp"
#include "motion/slow_time.hpp"
#include "echosieve/motion/smoothing.hpp"

namespace echosieve {

// Symbols
//   y_i(z)  baseband of frame i at depth z;  i, j successive usable frames
//   C_ij    = sum over the gate of conj(y_i) y_j, lag zero;  f0 centre frequency [Hz]
//   u_j     = u_i - arg(C_ij) c / (4 pi f0)      displacement [m], deeper positive
//
// (Kasai et al. 1985, IEEE Trans. Sonics Ultrasonics 32:458-464.) Whatever lies in the gate counts:
// an echo that rests there pulls the displacement towards zero, and what each frame adds stays.

/// Where one wall is looked for.
struct WallGate {
    double depth = 0;             ///< of its centre [m]
    double half_length = 0.6e-3;  ///< [m]
};

struct WallGates {
    WallGate near;
    WallGate far;
};

void validate(const WallGate& gate);

void validate(const WallGates& gates);

struct GatedTrackOptions {
    bool follow = true;  ///< the gate moves along with its wall, by whole samples
    Smoothing smoothing = MovingAverage{30};
};

void validate(const GatedTrackOptions& options);

/// How one wall moves, before smoothing.
struct WallTrack {
    Eigen::ArrayXd displacement;  ///< per frame, deeper positive; bridged where not valid [m]
    Eigen::ArrayXd correlation;   ///< 0 to 1 per frame: with the frame that it was compared with
    std::vector<bool> valid;      ///< per frame: measured, not bridged
};

/// Both walls, frame by frame.
struct WallPairTrack {
    Eigen::ArrayXd near_wall;  ///< depth, smoothed [m]
    Eigen::ArrayXd far_wall;   ///< [m]
    Eigen::ArrayXd quality;    ///< 0 to 1: the worse wall's correlation, 0 where not valid
    std::vector<bool> valid;   ///< both walls measured

    [[nodiscard]] Eigen::ArrayXd diameter() const { return far_wall - near_wall; }
    [[nodiscard]] std::size_t valid_frames() const noexcept {
        return static_cast<std::size_t>(std::count(valid.begin(), valid.end(), true));
    }
};

/// Displacement of what lies in the gate, 0 in the first usable frame. A frame that is not usable
/// is left out: the one after it is compared with the one before it. Unambiguous while the echoes
/// move by less than a quarter of a wavelength between the two. Throws InvalidInput unless the gate
/// lies inside the line.
[[nodiscard]] WallTrack follow_gate(const LineHistory& line, const WallGate& gate,
                                    const GatedTrackOptions& options = {});

/// Joins two walls: what is valid in both is kept, the rest bridged, then smoothed. `near_depth`
/// and `far_depth` [m] are where the displacements are 0.
[[nodiscard]] WallPairTrack join_walls(const WallTrack& near, double near_depth,
                                       const WallTrack& far, double far_depth,
                                       const Smoothing& smoothing, double frame_rate);

/// Both walls in their gates. The gates' depths are taken for the walls' mean depths. Throws
/// InvalidInput for gates or options outside their domain.
[[nodiscard]] WallPairTrack track_gates(const LineHistory& line, const WallGates& gates,
                                        const GatedTrackOptions& options = {});

}  // namespace echosieve
