// Displacement of the echoes in gates along the line, from the phase between successive frames.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <vector>

#include "echosieve/motion/common_motion_options.hpp"
#include "motion/line/frame_run.hpp"
#include "motion/line/line.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

// Symbols
//   y_i(z)  baseband of frame i at depth z;  f0 nominal centre frequency [Hz];  c sound speed [m/s]
//   R_i = sum over the gate of conj(y_i) y_{i+1};  an echo that moves deeper by d turns by -4 pi f0
//   d / c u_i = - sum_{j<i} arg(R_j) c / (4 pi f0)                [m]   (Kasai et al. 1985)
//   coherence = sum_z |mean_i y_i e^{+i phase(u_i)}|^2 / sum_z mean_i |y_i|^2

struct PhaseTracks {
    Eigen::ArrayXd depths;  ///< gate centres [m], G of them
    /// [frames x G], deeper positive, mean 0 per gate and run, 0 between the runs [m]
    Eigen::ArrayXXd displacement;
    Eigen::ArrayXd coherence;  ///< 0 to 1 per gate: how much of the gate's power follows its track
    std::vector<FrameRun> runs;  ///< tracked each by itself
    double half_gate = 0;        ///< [m]
};

/// The two courses that span the tracks best, weighted per gate: [frames x 2], orthonormal.
[[nodiscard]] Eigen::MatrixXd leading_plane(const Eigen::ArrayXXd& tracks,
                                            const Eigen::ArrayXd& weight);

/// Lines filtered for tracking: matched to the sensor's band in fast time, smoothed in slow time.
[[nodiscard]] Eigen::ArrayXXcd matched_lines(const LineHistory& line, double line_smoothing);

/// What the line as a whole moves by, up to each of its frames [m]: no frames have to be averaged
/// for it, and once it is turned back those that are averaged may differ by more than a cycle.
[[nodiscard]] Eigen::ArrayXd line_motion(const LineHistory& line, const PhaseTrackOptions& options);

/// Tracks of all gates that lie wholly inside the line; none if it is too short.
[[nodiscard]] PhaseTracks phase_tracks(const LineHistory& line, const PhaseTrackOptions& options);

}  // namespace echosieve
