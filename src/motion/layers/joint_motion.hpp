// Pulse and bulk motion of every frame from all gates at once, their layers given.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion_options.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve {

// Symbols (the rest as in layers.hpp)
//   R_g = Y_g - sum_k S_gk E_gk   residual of gate g;   v_g its mean square, w_g trust in the gate
//   J_p = sum_k -i 2 pi f (2/c) a_k S_k E_k, J_q the same with b_k: how the gate follows p_i, q_i
//   H_i = sum_g w_g / v_g sum_f Re (J^H J), g_i the same with Re (J^H R): 2 x 2 and 2 a frame
//
// The step (dp_i, dq_i) of all frames minimises sum_i (x_i^T H_i x_i / 2 - g_i^T x_i) + lambda
// |second difference|^2 / 2 with lambda = mean H / (2 pi f_c / f_r)^4: parts of the step above f_c
// are held back (a smoothing spline's penalty, Reinsch 1967). One banded system.
//
// Of several lines over one artery, line l sees p_l(t) = p(t - d_l), d_l some milliseconds at most:
// its H and g are those of p_l, and count for p as they are d_l earlier. Its own delay follows from
//   dd_l = -sum_i g_pi h_i / (sum_i H_ppi h_i p'_l(i) + 1 / D^2)
// with h what p'_l has above fastest_own_drift, where no wall's own motion takes its part, and D
// what delays are, usually.

/// What a wall does by itself more slowly is its own [Hz]: so is what a delay looks like there.
inline constexpr double fastest_own_drift = 1.5;

/// A gate with its layers.
struct LayeredGate {
    GateSpectrum gate;
    LayerFit fit;
    double trust = 1;  ///< weight beside the other gates
    /// what a motion of their own turns the first `own_layers` layers by, [frames x bins]
    Eigen::ArrayXXcd own{};
    std::size_t own_layers = 0;
    bool late = false;     ///< follows the pulse by LayerTimes::lag, and then says nothing of p
    std::size_t line = 0;  ///< of LayerTimes::lines
};

/// Keeps p the pulse and q the bulk motion after a step, and the shares in `gates` what they were
/// in metres. The gauge: in the median gate the last layer has no share of the pulse, and follows
/// the bulk motion by 1.
void regauge(std::vector<LayeredGate>& gates, LayerTimes& times, double slow_frequency,
             double frame_rate);

/// Trust falls with the unexplained part of a gate's power, against the median gate's.
void set_trust(std::vector<LayeredGate>& gates);

/// One step of p and q in all frames.
void step_motion(const std::vector<LayeredGate>& gates, LayerTimes& times,
                 const JointMotionOptions& options, double frame_rate);

/// One step of each line's delay, their mean 0. Nothing is done for one line alone.
void step_delays(const std::vector<LayeredGate>& gates, LayerTimes& times, double frame_rate);

/// The whole update of the time courses between two fits of the layers: trust, step, gauge; and of
/// several lines their delays.
void update_motion(std::vector<LayeredGate>& gates, LayerTimes& times,
                   const JointMotionOptions& options, double frame_rate);

/// Gauss-Newton steps of a gate's shares between two steps of the time courses: these move on
/// anyway.
inline constexpr int refit_steps = 3;

/// Of the gates' fits: less the more lines there are, since it draws all of them the same way, and
/// what they tell together is surer.
[[nodiscard]] double ridge_of(const LayerTimes& times) noexcept;

/// The shares of all gates, from where they are.
void refit_shares(std::vector<LayeredGate>& gates, const LayerTimes& times);

/// Rounds of shares and time courses in turn.
void fit_jointly(std::vector<LayeredGate>& gates, LayerTimes& times, int rounds,
                 const JointMotionOptions& options, double frame_rate);

}  // namespace echosieve
