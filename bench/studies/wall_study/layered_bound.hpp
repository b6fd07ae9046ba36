// How well a layered line's walls can be followed at best: a bound on the error of displacement
// and distension where the layers' echoes change by themselves.
#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <vector>

#include "echosieve/synthesis/layered_scene.hpp"

namespace wall_study {

// Symbols
//   i, k       frame; sample of a wall's gate, at t_k;  v  variance of a raw sample's noise
//   x_i        displacement of all of the wall beside the true one = sum_c psi_ic xi_c [m]
//   A_l, tau_l(i)   layer l's amplitude at rest times the wall's strength; its true arrival
//   d_l        relative error of A_l, alike in all frames: complex normal of mean square 1
//   s, g_l     strength change, and the layer's rhythm, Gaussian, of the covariance R over frames;
//              R = Phi Phi^T, g_l = Phi b_l, b_l normal, independent, of variance 1
//   a_j, tau_j(i)   tissue echo: complex normal of known power, alike in all frames; its arrival
//   w(u)       pulse; w' its derivative
//
//   y_k(i) = Re{ sum_l A_l (1 + d_l) (1 + s g_l(i)) w(t_k - tau_l(i) - 2 x_i / c)
//                + sum_j a_j w(t_k - tau_j(i)) } + noise
//
// To first order about the truth y is linear in theta = (xi, b, d, a): with its slopes
// D(i) the information about theta is sum_i D(i)^T D(i) / v, plus 1 for each unknown of variance 1,
// 0 for xi. The inverse's part of xi is the least covariance of any estimate of x (Bayesian
// Cramer-Rao bound with the displacement's prior flat; for a linear Gaussian model the likeliest
// estimate attains it, Van Trees 1968, from memory).
//
// It is a lower bound, for much is given that no tracker knows: pulse, noise, the layers' number,
// depths and how they move against each other, the tissue's depths and motion, its echoes' rate of
// change taken for 0; ring-down, tone, gain, vein and reverberation. Unknown are the wall's common
// displacement, the layers' amplitudes and strengths, and the tissue's amplitudes.

/// What is known of the displacement.
struct BoundOptions {
    /// It is a sum of cosines up to this frequency, any [Hz]: the simulator's waves hold less than
    /// a hundredth above it, and what a wall does by itself is looked for below it as well.
    double bandwidth = 20;
    /// Of the frames that are looked at; each stands for those until the next [Hz].
    double frame_rate = 250;
};

// What a tracker errs by at least that takes a wall's echo for one waveform that never changes:
// without noise and tissue its estimate follows the phase's centre, to first order
//   x_i = sum_l u_i . V_l(i) g_l(i) / |u_i|^2,  u the slope in x, V_l that in g_l.

/// Least rms error over the frames, displacement's mean taken off [m].
struct CourseBound {
    double any = 0;     ///< of any course up to the bandwidth
    double steady = 0;  ///< the same if the layers' strengths were known
    double given = 0;   ///< the same if the layers' amplitudes at rest were known
    double size = 0;    ///< of a course known but for its size and level
    /// no bound: rms of the phase's centre, over all rhythms
    double phase_centre = 0;
};

struct LayeredBound {
    CourseBound near, far, distension;
};

/// Columns of Phi, frames by as few as leave at most `left` of a variance of R, which is symmetric
/// and positive: Cholesky's factor, the largest variance left first.
[[nodiscard]] Eigen::MatrixXd low_rank_factor(const Eigen::MatrixXd& covariance, double left);

/// Cosines up to `bandwidth` [Hz] over so many frames at `frame_rate` [Hz], frames by cosines: the
/// first is constant.
[[nodiscard]] Eigen::MatrixXd cosine_courses(Eigen::Index frames, double frame_rate,
                                             double bandwidth);

/// Slopes of a frame's samples, a column each: in x [1/m], in g_l, in real and imaginary parts, of
/// variance 1 each, of d_l sqrt(2) and of the tissue's amplitudes.
struct GateSlopes {
    double start = 0;  ///< time of the first sample [s]
    Eigen::VectorXd displacement;
    Eigen::MatrixXd layers;
    Eigen::MatrixXd amplitudes;
    Eigen::MatrixXd tissue;
};

/// What of theta is given.
enum class Given { nothing, strengths, amplitudes };

/// Information about theta, frame by frame.
class GateInformation {
public:
    /// `courses` psi and `rhythms` Phi have a row a frame; `noise` is v.
    GateInformation(Eigen::MatrixXd courses, Eigen::MatrixXd rhythms, double noise);

    /// Of frame i, from 0 on: all have the same columns.
    void add(Eigen::Index frame, const GateSlopes& slopes);
    /// Of xi.
    [[nodiscard]] Eigen::MatrixXd covariance(Given given = Given::nothing) const;

private:
    [[nodiscard]] Eigen::Index count_of(Eigen::Index column) const;

    Eigen::MatrixXd courses_;
    Eigen::MatrixXd rhythms_;
    double noise_;
    Eigen::Index layers_ = 0;
    Eigen::MatrixXd information_;
};

/// A wall's gate over the scene's frames: the slopes of each.
struct WallGate {
    Eigen::MatrixXd rhythms;         ///< Phi
    std::vector<GateSlopes> frames;  ///< at frame_rate
    std::vector<double> times;       ///< [s]
    double noise = 0;                ///< v, of a frame that stands for several
};

[[nodiscard]] WallGate wall_gate(const echosieve::LayeredScene& scene, std::uint64_t seed, bool far,
                                 const BoundOptions& options = {});

/// Rms over frames and rhythms of what the phase's centre moves by, its mean taken off [m].
[[nodiscard]] double phase_centre(const WallGate& gate);

/// Of a scene with an artery, and the seed that it was drawn from.
[[nodiscard]] LayeredBound layered_bound(const echosieve::LayeredScene& scene, std::uint64_t seed,
                                         const BoundOptions& options = {});

}  // namespace wall_study
