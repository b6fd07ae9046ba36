// The customary way, to compare with: both walls in gates set beforehand, displacement from the
// phase between successive frames, accumulated and averaged.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <span>
#include <variant>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/scalar.hpp"
#include "echosieve/correlate/sampled.hpp"
#include "echosieve/motion/line.hpp"
#include "echosieve/motion/slow_time.hpp"
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

inline void validate(const WallGate& gate) {
    require(is_finite(gate.depth), "gate depth", gate.depth, "must be finite [m]");
    require(gate.half_length > 0 && is_finite(gate.half_length), "gate half_length",
            gate.half_length, "must be positive and finite [m]");
}

inline void validate(const WallGates& gates) {
    validate(gates.near);
    validate(gates.far);
    require(gates.far.depth > gates.near.depth, "far gate depth", gates.far.depth,
            detail::concatenate("must exceed the near gate's, ", gates.near.depth, " [m]"));
}

struct GatedTrackOptions {
    bool follow = true;  ///< the gate moves along with its wall, by whole samples
    Smoothing smoothing = MovingAverage{30};
};

inline void validate(const GatedTrackOptions& options) {
    validate(options.smoothing);
}

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
[[nodiscard]] inline WallTrack follow_gate(const LineHistory& line, const WallGate& gate,
                                           const GatedTrackOptions& options = {}) {
    validate(gate);
    validate(options);
    const Eigen::Index frames = line.frames();
    const Eigen::Index samples = line.samples.cols();
    const Eigen::Index first = std::lround(line.index(gate.depth - gate.half_length));
    const Eigen::Index last = std::lround(line.index(gate.depth + gate.half_length));
    require(first >= 0 && last < samples, "gate depth", gate.depth,
            detail::concatenate("the gate must lie within ", line.first_depth(), " to ",
                                line.last_depth(), " [m]"));
    const auto count = static_cast<std::size_t>(last - first + 1);
    const double frequency = line.settings.sensor.centre_frequency;
    const double metres_per_sample = line.depth(1) - line.depth(0);

    WallTrack track{Eigen::ArrayXd::Zero(frames), Eigen::ArrayXd::Zero(frames),
                    std::vector<bool>(static_cast<std::size_t>(frames), false)};
    std::vector<std::complex<double>> before(count);
    std::vector<std::complex<double>> now(count);
    Eigen::Index reference = -1;
    double position = 0;
    for (Eigen::Index i = 0; i < frames; ++i) {
        if (!line.usable[static_cast<std::size_t>(i)]) {
            continue;
        }
        if (reference >= 0) {
            const Eigen::Index moved =
                options.follow ? std::lround(position / metres_per_sample) : Eigen::Index{0};
            const Eigen::Index begin =
                std::clamp<Eigen::Index>(first + moved, 0, samples - (last - first + 1));
            for (std::size_t k = 0; k < count; ++k) {
                before[k] = line.samples(reference, begin + static_cast<Eigen::Index>(k));
                now[k] = line.samples(i, begin + static_cast<Eigen::Index>(k));
            }
            const SampledDelay step =
                phase_delay(std::span<const std::complex<double>>(before),
                            std::span<const std::complex<double>>(now), frequency);
            if (!step.usable()) {
                continue;  // silent in the gate: the next frame is compared with the last good one
            }
            position += line.settings.depth(step.delay);
            track.correlation[i] = step.correlation;
        } else {
            track.correlation[i] = 1;
        }
        reference = i;
        track.displacement[i] = position;
        track.valid[static_cast<std::size_t>(i)] = true;
    }
    bridge(track.displacement, track.valid);
    return track;
}

/// Joins two walls: what is valid in both is kept, the rest bridged, then smoothed. `near_depth`
/// and `far_depth` [m] are where the displacements are 0.
[[nodiscard]] inline WallPairTrack join_walls(const WallTrack& near, double near_depth,
                                              const WallTrack& far, double far_depth,
                                              const Smoothing& smoothing, double frame_rate) {
    const std::size_t count = near.valid.size();
    WallPairTrack pair;
    pair.valid.resize(count);
    for (std::size_t i = 0; i < count; ++i) {
        pair.valid[i] = near.valid[i] && far.valid[i];
    }
    const auto depths = [&](const WallTrack& wall, double depth) {
        Eigen::ArrayXd x = depth + wall.displacement;
        bridge(x, pair.valid);
        return std::visit(
            [&](const auto& smoother) { return Eigen::ArrayXd(smoother(x, frame_rate)); },
            smoothing);
    };
    pair.near_wall = depths(near, near_depth);
    pair.far_wall = depths(far, far_depth);
    pair.quality = near.correlation.min(far.correlation);
    for (std::size_t i = 0; i < count; ++i) {
        if (!pair.valid[i]) {
            pair.quality[static_cast<Eigen::Index>(i)] = 0;
        }
    }
    return pair;
}

/// Both walls in their gates. The gates' depths are taken for the walls' mean depths. Throws
/// InvalidInput for gates or options outside their domain.
[[nodiscard]] inline WallPairTrack track_gates(const LineHistory& line, const WallGates& gates,
                                               const GatedTrackOptions& options = {}) {
    validate(gates);
    const WallTrack near = follow_gate(line, gates.near, options);
    const WallTrack far = follow_gate(line, gates.far, options);
    const auto middle = [](const WallTrack& wall) {
        return wall.displacement.size() > 0 ? wall.displacement.mean() : 0.0;
    };
    return join_walls(near, gates.near.depth - middle(near), far, gates.far.depth - middle(far),
                      options.smoothing, line.settings.frame_rate);
}

}  // namespace echosieve
