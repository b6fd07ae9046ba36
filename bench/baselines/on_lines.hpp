// The ways to compare with, on lines: gated correlation, gates set without a hand, echoes picked
// from pursuits. See gated_track.hpp, gate_finder.hpp and pursuit_track.hpp.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "baselines/gate_finder.hpp"
#include "baselines/gated_track.hpp"
#include "baselines/pursuit_track.hpp"
#include "echosieve/atoms/gabor.hpp"
#include "echosieve/motion/smoothing.hpp"
#include "motion/line/line.hpp"

namespace echosieve::baselines {

/// How one wall moves, before smoothing.
struct WallTrack {
    /// At rest, and nothing measured.
    explicit WallTrack(Eigen::Index frames = 0)
        : displacement(Eigen::ArrayXd::Zero(frames)),
          correlation(Eigen::ArrayXd::Zero(frames)),
          valid(static_cast<std::size_t>(frames), false) {}

    Eigen::ArrayXd displacement;  ///< per frame, deeper positive; bridged where not valid [m]
    Eigen::ArrayXd correlation;   ///< 0 to 1 per frame: with the frame that it was compared with
    std::vector<bool> valid;      ///< per frame: measured, not bridged
};

/// Displacement of what lies in the gate, 0 in the first usable frame. A frame that is not usable
/// is left out: the one after it is compared with the one before it. Unambiguous while the echoes
/// move by less than a quarter of a wavelength between the two. Throws InvalidInput unless the gate
/// lies inside the line.
[[nodiscard]] WallTrack follow_gate(const LineHistory& line, const WallGate& gate,
                                    const GatedTrackOptions& options = {});

struct PlacedTrack {
    const WallTrack& track;
    double depth = 0;  ///< where the displacement is 0 [m]
};

/// Joins two walls: what is valid in both is kept, the rest bridged, then smoothed.
[[nodiscard]] WallPairTrack join_walls(const PlacedTrack& near, const PlacedTrack& far,
                                       const Smoothing& smoothing, double frame_rate);

/// As the public functions of these names, on a line.
[[nodiscard]] WallPairTrack track_gates(const LineHistory& line, const WallGates& gates,
                                        const GatedTrackOptions& options = {});
[[nodiscard]] std::optional<WallGates> find_wall_gates(const LineHistory& line,
                                                       const GateSearchOptions& options = {});
[[nodiscard]] std::optional<WallPairTrack> track_echoes(const LineHistory& line,
                                                        const WallGates& gates,
                                                        const PursuitTrackOptions& options = {});

/// Mean of |samples| over the usable frames, per sample; zeros if none is usable.
[[nodiscard]] Eigen::ArrayXd mean_envelope(const LineHistory& line);

struct EnvelopePeak {
    double depth = 0;
    double height = 0;
};

// Local maxima whose gates fit into the line below the dead zone, highest first.
[[nodiscard]] std::vector<EnvelopePeak> envelope_peaks(const LineHistory& line,
                                                       const GateSearchOptions& options);

/// One wall, followed by its echo.
struct EchoTrack {
    WallTrack track;
    Echo<Gabor<double>> reference;  ///< e_0
    bool found = false;             ///< false: no usable frame, or no echo in the first one
};

/// Takes each usable frame's gate apart and follows the echo nearest to `wall_depth` [m]. The gate
/// is cut to the line. Throws InvalidInput for a gate outside the line, or options outside their
/// domain.
[[nodiscard]] EchoTrack follow_echo(const LineHistory& line, const WallGate& gate,
                                    double wall_depth, const PursuitTrackOptions& options = {});

}  // namespace echosieve::baselines
