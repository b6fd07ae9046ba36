// What pulse and bulk motion did while contact was lost, by the likelihood of all layers.
#pragma once

#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion_options.hpp"
#include "motion/layers/joint_motion.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/frame_run.hpp"

namespace echosieve {

// Symbols (the rest as in layers.hpp)
//   dp, dq   added to p and q after a gap: its layers are then turned by
//            D_k(f) = exp(-i 2 pi f (2 / c) (a_k dp + b_k dq))
//   h, h'    E^H Y over the frames before and after the gap;  G, G' likewise E^H E
//
//   explained(dp, dq) = sum over gates and f of (h + D^H h')^H (G + D^H G' D)^{-1} (h + D^H h') /
//   noise
//
// Tracks of single gates can't tell what a wall and the tissue on it did over a gap, if the wall
// moved by more than a cycle of the carrier; their spectra, common to both sides, can.

/// Adds to p and q after each gap between `runs` what explains most of the gates, and bridges the
/// gap between them. Shares are held, spectra are free. Gates' fits are not made anew. Throws
/// InvalidInput for options outside their domain.
void settle_gaps(const std::vector<LayeredGate>& gates, LayerTimes& times,
                 const std::vector<FrameRun>& runs, double half_wavelength,
                 const GapSettlingOptions& options = {});

}  // namespace echosieve
