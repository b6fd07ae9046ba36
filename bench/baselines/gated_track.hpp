// The customary way, to compare with: both walls in gates set beforehand, displacement from the
// phase between successive frames, accumulated and averaged.
#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

#include "echosieve/condition/options.hpp"
#include "echosieve/motion/smoothing.hpp"

namespace echosieve::baselines {

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

/// Both walls, frame by frame.
struct WallPairTrack {
    std::vector<double> near_wall;  ///< depth, smoothed [m]
    std::vector<double> far_wall;   ///< [m]
    std::vector<double> quality;    ///< 0 to 1: the worse wall's correlation, 0 where not valid
    std::vector<bool> valid;        ///< both walls measured

    /// Per frame [m].
    [[nodiscard]] std::vector<double> diameter() const {
        std::vector<double> out(near_wall.size());
        std::transform(far_wall.begin(), far_wall.end(), near_wall.begin(), out.begin(),
                       [](double far, double near) { return far - near; });
        return out;
    }
    [[nodiscard]] std::size_t valid_frames() const noexcept {
        return static_cast<std::size_t>(std::count(valid.begin(), valid.end(), true));
    }
};

/// Both walls in their gates, through conditioned frames; `states` say which of them to use. The
/// gates' depths are taken for the walls' mean depths. Unambiguous while the echoes move by less
/// than a quarter of a wavelength between two usable frames. Throws InvalidInput unless there is a
/// state a frame and the gates lie inside the line, and for gates or options outside their domain.
[[nodiscard]] WallPairTrack track_gates(const BasebandView& baseband,
                                        const std::vector<FrameState>& states,
                                        const WallGates& gates,
                                        const GatedTrackOptions& options = {});

}  // namespace echosieve::baselines
