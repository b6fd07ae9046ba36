// Tracks on both sides of a time without contact, put together: what the line moved by meanwhile.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion_options.hpp"
#include "motion/courses/phase_track.hpp"
#include "motion/line/line.hpp"

namespace echosieve {

// Symbols
//   u_z(i) = sum_k c_kz g_k(i)   the tracks, as the first two courses g that all depths share
//   T_z, T'_z   the gate's echoes at the last frame before and at the first one after the gap:
//   means
//               over a few frames, their motion turned back
//   J_z = sum_k c_kz d_k         what the gate moves by over the gap [m];  tau_z = 2 J_z / c
//   X_z(tau) = sum_t conj(T_z(t)) T'_z(t + tau) e^{+i 2 pi f_0 tau} / |T_z| / |T'_z|
//
// A phase alone leaves each gate's J_z open by half wavelengths, and over a gap they can't be
// counted. But J_z follows from two numbers: those that make sum_z w_z Re X_z(tau_z) largest, over
// all that the courses moved by elsewhere and a half more. A wrong cycle matches worse by the
// width of the band (0.8 of the peak at a quarter of f_0), and at depths with other c_kz not at
// all. Each gate then keeps its own phase, within half a cycle.

/// Adds to each run of `tracks` but the first what its gates moved by since the run before, and
/// bridges what lies between; the mean of each gate is zero again. `trust` weights the gates.
/// Nothing is changed where there is one run.
void join_tracks(const LineHistory& line, PhaseTracks& tracks, const Eigen::ArrayXd& trust,
                 const TrackJoiningOptions& options = {});

}  // namespace echosieve
