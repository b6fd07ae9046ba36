// The complex baseband lines of a recording as the motion room sees them: usable or bridged, with
// their geometry.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <numbers>
#include <utility>
#include <vector>

#include "echosieve/condition/options.hpp"
#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/common_motion_options.hpp"
#include "motion/line/frame_run.hpp"

namespace echosieve {

/// First sample of the grid at least `dead_zone` [m] below its first one, which is where the
/// ring-down ends for all that counts echoes, energies or contact; their number if there is none.
[[nodiscard]] inline Eigen::Index first_below(double dead_zone, const SamplingGrid& grid,
                                              const RecordingSettings& settings) noexcept {
    const double depth = settings.depth(grid.time(0)) + dead_zone;
    return held_whole(std::ceil(grid.index(settings.arrival(depth))), Eigen::Index{0},
                      static_cast<Eigen::Index>(grid.count));
}

/// Frames x samples of complex baseband, column-major: one depth over all frames is contiguous.
struct LineHistory {
    Eigen::ArrayXXcd samples;    ///< [frames x samples], unusable frames bridged
    SamplingGrid grid;           ///< fast time of the samples
    RecordingSettings settings;  ///< frame rate, sensor and sound speed are used
    std::vector<bool> usable;    ///< per frame: measured, not bridged
    Eigen::ArrayXd stretch;  ///< slow strain of the whole line per frame, see slow_path; or empty
    double stretch_centre = 0;  ///< depth at which it moves nothing [m]
    /// below the first sample: what lies above holds ring-down, and says nothing of the tissue [m]
    double dead_zone = default_dead_zone;

    [[nodiscard]] Eigen::Index frames() const noexcept { return samples.rows(); }
    [[nodiscard]] double depth(double index) const noexcept {
        return settings.depth(grid.time(index));
    }
    [[nodiscard]] double first_depth() const noexcept { return depth(0); }
    [[nodiscard]] double last_depth() const noexcept {
        return depth(static_cast<double>(grid.count) - 1);
    }
    /// Fractional sample index of `depth` [m].
    [[nodiscard]] double index(double depth) const noexcept {
        return grid.index(settings.arrival(depth));
    }
    /// First sample of the line within `half_length` of `depth`, and the one after the last [m];
    /// both the same, at one of the line's ends, if none is.
    [[nodiscard]] std::pair<Eigen::Index, Eigen::Index> gate(double depth,
                                                             double half_length) const noexcept {
        const auto inside = [&](double place) {
            return held_whole(std::round(place), Eigen::Index{0}, samples.cols());
        };
        return {inside(index(depth - half_length)), inside(index(depth + half_length))};
    }
    /// First sample below the dead zone; their number if there is none.
    [[nodiscard]] Eigen::Index first_below_dead_zone() const noexcept {
        return echosieve::first_below(dead_zone, grid, settings);
    }
    /// Phase [rad] by which an echo of `frequency` [Hz] turns when it moves 1 m deeper, sign apart.
    [[nodiscard]] double phase_per_metre(double frequency) const noexcept {
        return 2 * std::numbers::pi * frequency * 2 / settings.sound_speed;
    }
    /// What the echoes at `depth` [m] move by beside all that follows p and q: zero unless the line
    /// is stretched slowly [m]. Gates are cut with it turned back.
    [[nodiscard]] Eigen::ArrayXd slow_path(double depth) const;
    /// See contact_runs.
    [[nodiscard]] std::vector<FrameRun> runs() const;
    /// By which a displacement is ambiguous at the sensor's centre frequency [m].
    [[nodiscard]] double half_wavelength() const noexcept {
        return settings.sound_speed / 2 / settings.sensor.centre_frequency;
    }
    /// 1 for usable frames, 0 for bridged ones.
    [[nodiscard]] Eigen::ArrayXd weights() const;
};

/// The runs of frames in contact: gaps of up to 30 ms are bridged, runs of fewer than 60 ms are
/// left out.
[[nodiscard]] std::vector<FrameRun> contact_runs(const std::vector<bool>& usable,
                                                 double frame_rate);

/// The lines of conditioned frames; those that are not good are bridged. Throws InvalidInput unless
/// the samples are whole frames, and if the number of states differs from theirs.
[[nodiscard]] LineHistory line_history(const BasebandView& baseband,
                                       const std::vector<FrameState>& states,
                                       double dead_zone = default_dead_zone);

}  // namespace echosieve
