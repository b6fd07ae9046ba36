// What following an artery gives back: both walls, frame by frame, with their echoes, and what was
// found on the way. Link echosieve::motion.
#pragma once

#include <cmath>
#include <cstddef>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

struct RecordingSettings;
struct SamplingGrid;
enum class WallLayer;

/// One frame of the artery's motion. In a frame that is not valid the depths are the straight line
/// between the valid neighbours, the standard deviations are NaN and the quality is 0.
struct FrameMotion {
    double time = 0;       ///< from the first frame [s]
    double near_wall = 0;  ///< depth, deeper is larger [m]
    /// standard deviation of the displacement [m]: noise, gain and what the model leaves out
    /// together, see WallReport; wider where the wall may be the wrong one, so that 95 % of the
    /// errors lie within 1.96 of it
    double near_wall_std = 0;
    double far_wall = 0;      ///< [m]
    double far_wall_std = 0;  ///< [m]
    double diameter = 0;      ///< far_wall - near_wall [m]
    double diameter_std = 0;  ///< [m]
    bool valid = false;
    double near_quality = 0;  ///< chance that the displacement is within 20 um of the truth
    double far_quality = 0;   ///< the same of the far wall
    double quality = 0;       ///< 0 to 1: the lower of both
};

/// Where a pulse delay is from.
enum class DelaySource {
    unknown,   ///< taken for 0
    given,     ///< RecordingSettings::sensor.pulse_delay
    estimated  ///< from the shape of the echoes
};

[[nodiscard]] constexpr std::string_view describe(DelaySource source) noexcept {
    switch (source) {
        case DelaySource::unknown:
            return "unknown";
        case DelaySource::given:
            return "given";
        case DelaySource::estimated:
            return "estimated";
    }
    return "unknown";
}

/// By how much the envelope of a pulse peaks later than its echo arrives.
struct PulseDelay {
    DelaySource source = DelaySource::unknown;
    double delay = 0;       ///< from an echo's arrival to its envelope's peak [s]
    double deviation = 0;   ///< standard deviation of an estimate, 0 otherwise [s]
    double zero_phase = 0;  ///< probability that the pulse has no delay, of an estimate
};

/// How a search for an artery ended.
enum class TrackStatus {
    not_run,
    tracked,           ///< both walls found, and at least half of the frames valid
    mostly_invalid,    ///< both walls found, but fewer than half of the frames valid
    too_few_frames,    ///< fewer usable frames than the common motion needs
    nothing_coherent,  ///< no echo whose phase can be followed from frame to frame
    no_artery          ///< echoes move, but no pair of walls moves apart with a common pulse
};

[[nodiscard]] constexpr std::string_view describe(TrackStatus status) noexcept {
    switch (status) {
        case TrackStatus::not_run:
            return "not run";
        case TrackStatus::tracked:
            return "both walls followed";
        case TrackStatus::mostly_invalid:
            return "walls found, but fewer than half of the frames are valid";
        case TrackStatus::too_few_frames:
            return "too few usable frames";
        case TrackStatus::nothing_coherent:
            return "no echo that can be followed from frame to frame";
        case TrackStatus::no_artery:
            return "no two walls that move apart with a common pulse";
    }
    return "unknown";
}

/// What most of a wall's standard deviation comes from.
enum class WallLimit {
    noise,   ///< of the recording
    tissue,  ///< on the wall, that can hardly be told apart from it
    change   ///< of the wall's echo over the beat, or what else the model leaves out
};

[[nodiscard]] constexpr std::string_view describe(WallLimit limit) noexcept {
    switch (limit) {
        case WallLimit::noise:
            return "noise";
        case WallLimit::tissue:
            return "wall and tissue are hardly separable";
        case WallLimit::change:
            return "the wall's echo changes over the beat";
    }
    return "unknown";
}

/// One wall: where it is, how it moves, and its echoes.
struct WallReport {
    /// of the layer followed, at rest; the pulse's delay and DepthCorrection taken off [m]
    double depth = 0;
    /// standard deviation of the depth as such, the same in all frames: pulse's delay, curvature,
    /// which layer it is; the displacement has none of it [m]
    double depth_std = 0;
    double pulse_share = 0;  ///< displacement over the range of the pulse, deeper positive [m]
    double bulk_share = 0;   ///< share in the bulk motion
    double tissue_pulse_share = 0;  ///< up to which tissue on it was allowed for [m]
    double residual = 0;     ///< part of the gate's power that wall and tissue leave unexplained
    double own_motion = 0;   ///< rms of what the wall does beyond the common time courses [m]
    double fast_motion = 0;  ///< the part of it above 1 Hz: a wall has little [m]
    double share_deviation = 0;  ///< standard deviation of pulse_share, from its likelihood [m]
    double share_scatter = 0;    ///< the same, as frequencies disagree about it [m]
    double separability = 0;     ///< rms turn of its echo against that of the tissue on it [rad]
    bool separable = true;       ///< at least_separability_angle or above (layer_limits.hpp)
    double presence = 0;     ///< log evidence per value over tissue that moves smoothly over depth
    double pulse_drift = 0;  ///< rms of the pulse slower than any beat, over its range
    // The parts of the displacement's standard deviation.
    double noise_std = 0;  ///< of noise, the model given: in the median frame [m]
    double gain_std = 0;   ///< of an error of gain, alike in all frames: over pulse_share
    double model_std = 0;  ///< of what the model leaves out, in any frame [m]
    WallLimit limit = WallLimit::noise;  ///< where most of it comes from
    double evidence = 0;                 ///< log evidence of the wall over that of the tissue alone
    double mean_evidence = 0;     ///< that over the gate's independent values: frames and bins
    double tissue_linearity = 0;  ///< of the tissue's pulse_share_line, 0 to 1
    double tissue_line = 0;  ///< pulse share of a straight line through the tissue's, there [m]
    double confidence = 0;   ///< that the right wall is followed and no cycle lost, 0 to 1
    std::vector<Echo<Gabor<double>>> reference;  ///< the wall's echoes at rest, as received
    std::vector<double> displacement;            ///< per frame, of those echoes [m]
    std::vector<double> strength;                ///< per frame, of those echoes; 0: not seen
};

/// What was taken off both walls' depths, beside the pulse's delay, where the sensor's width is
/// known; and what the depths are unsure by without that delay. A curved wall is seen over a spread
/// of depths, so its echo peaks inside its true top, and its layer is read where its echo peaks.
struct DepthCorrection {
    double near = 0;            ///< 0 where the width is not known [m]
    double far = 0;             ///< [m]
    double near_deviation = 0;  ///< standard deviation, of depths that are not corrected too [m]
    double far_deviation = 0;   ///< [m]
};

struct ArteryMotion {
    TrackStatus status = TrackStatus::not_run;
    std::vector<FrameMotion> frames;
    WallReport near;
    WallReport far;
    PulseDelay pulse_delay;  ///< taken off all depths; the diameter has none
    DepthCorrection depth_correction;
    /// standard deviation of the diameter's mean level, the same in all frames [m]
    double diameter_level_std = 0;
    /// the diameter is from this layer to the same of the other wall: outer, or inner, the lumen
    WallLayer layer{};
    double coherence = 0;             ///< weighted mean over the line's tracks
    std::size_t dropped = 0;          ///< frames found dropped, frozen or not finite
    std::size_t clipped = 0;          ///< frames found clipped
    std::size_t without_contact = 0;  ///< frames without coherent echoes
    std::size_t unassociated = 0;     ///< usable frames in which a wall's echoes were not found
    /// what is unusual about the settings, what the samples contradict of them, what was taken off
    std::vector<std::string> warnings;
    double trust = 1;  ///< by which qualities are lowered, since samples contradict the settings

    [[nodiscard]] bool usable() const noexcept { return status == TrackStatus::tracked; }
    [[nodiscard]] std::size_t valid_frames() const noexcept {
        std::size_t count = 0;
        for (const FrameMotion& frame : frames) {
            count += frame.valid ? 1 : 0;
        }
        return count;
    }
    [[nodiscard]] auto begin() const noexcept { return frames.begin(); }
    [[nodiscard]] auto end() const noexcept { return frames.end(); }
};

/// What a beam beside the axis sees of an artery, over what one through the axis does.
struct ChordFactors {
    double diameter = 1;  ///< sqrt(1 - (x_0 / R)^2)
    double strain = 1;    ///< 1 / (1 - (x_0 / R)^2): the chord's, to first order in the distension
};

/// Of a beam at `offset` [m] from the axis of a vessel of `radius` [m]. Throws InvalidInput unless
/// the beam meets the vessel.
[[nodiscard]] inline ChordFactors chord_factors(double offset, double radius) {
    require(radius > 0, "radius", radius, "must be positive [m]");
    require(std::abs(offset) < radius, "offset", offset, "must be smaller than the radius [m]");
    const double square = 1 - (offset / radius) * (offset / radius);
    return {std::sqrt(square), 1 / square};
}

// The wall's spectrum at rest is free: any waveform. Orthogonal pursuit takes it apart
// into a few Gabor echoes; a frame's echoes are the same ones, later by the frame's displacement
// and as strong as the wall is in that frame.

/// Echoes of a wall at rest as they are in a frame: moved by `displacement` [m] and multiplied by
/// `strength`.
[[nodiscard]] ECHOSIEVE_API std::vector<Echo<Gabor<double>>> moved_echoes(
    const std::vector<Echo<Gabor<double>>>& echoes, double displacement, double strength,
    const RecordingSettings& settings);

/// Adds the echoes so moved to a frame of real samples on `grid`, each to within 2e-7 of its peak.
/// Throws InvalidInput unless row.size() == grid.count and the grid has no mixing frequency.
/// Allocates nothing.
ECHOSIEVE_API void add_moved_echoes(const std::vector<Echo<Gabor<double>>>& echoes,
                                    double displacement, double strength,
                                    const RecordingSettings& settings, const SamplingGrid& grid,
                                    std::span<float> row);

}  // namespace echosieve
