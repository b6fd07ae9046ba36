// How well the displacements of overlapping layers can be known at best from many frames, their
// waveforms unknown: the bound, and whether the layers can be told apart at all.
// docs/layer_limits.md tells more. Link echosieve::motion.
#pragma once

#include <complex>
#include <cstddef>
#include <limits>
#include <span>
#include <variant>
#include <vector>

#include "echosieve/core/detail/api.hpp"

namespace echosieve {

// Symbols
//   x_l(k)   displacement of layer l in frame k [m];  kappa = 4 pi f / c  [rad/m]
//   S_l(f)   its spectrum at rest;  v  noise variance of a complex bin
//   A(f)     [exp(-i kappa x_l(k))], K frames x L layers;  P = I - A A^+
//
//   y_k(f) = sum_l S_l(f) exp(-i kappa x_l(k)) + noise
//
// Spectra that are free and unknown leave of the information on (x_l(k), x_m(j)), with P's entry
// of frames k and j,
//   sum_f (2 / v) kappa^2 Re{ conj(S_l) S_m exp(i kappa (x_l(k) - x_m(j))) P_kj },
// the conditional bound (form of Stoica and Nehorai 1989, IEEE TASSP 37:720-741, from memory).
// Each layer's place at rest can't be told from the phases of its spectrum: displacements are known
// but for their mean over the frames, and all deviations here are of displacements with their
// (weighted) mean taken off. One layer alone: sqrt((1 - 1/K) / sum_f (2 / v) kappa^2 |S|^2), as if
// its waveform were known.

/// What is known of the layers' spectra before the frames are seen.
enum class LayerSpectra {
    known,   ///< all of them: the least that displacements can be uncertain by
    shared,  ///< one waveform, unknown, which all layers have up to a complex factor, unknown too
    free,    ///< nothing
    random   ///< complex Gaussian of known power |S|^2, which may decorrelate over the frames
};

struct MovingLayer {
    std::vector<std::complex<double>> spectrum;  ///< S, per frequency
    std::vector<double> displacement;            ///< x, per frame [m]
    /// Of its echoes in two frames, [frames x frames] row by row, with random spectra; empty: 1.
    std::vector<double> correlation = {};
};

/// One gate of one line.
struct LayerSetting {
    std::vector<double> frequencies;  ///< f, of the bins, whose noise is independent [Hz]
    double noise = 1;                 ///< v, mean square of the noise of a complex bin
    double sound_speed = 1540;        ///< c [m/s]
    std::vector<MovingLayer> layers;
    std::vector<double> weights = {};  ///< per frame, its noise is v / weight; empty: 1
};

/// Any displacement in each frame.
struct FreeCourses {};

/// Each layer moves by a multiple of each of these, its share, unknown: pulse and bulk motion, say.
struct GivenCourses {
    std::vector<std::vector<double>> courses;  ///< [courses][frames]
};

/// The courses are unknown in each frame, the layers' shares in them known.
struct GivenShares {
    std::vector<std::vector<double>> shares;  ///< [layers][courses]
};

struct LayerAssumptions {
    LayerSpectra spectra = LayerSpectra::free;
    std::variant<FreeCourses, GivenCourses, GivenShares> courses = {};
    bool covariance = false;  ///< whether LayerLimit::covariance is wanted
};

/// Below this angle [rad] layers are not separable: estimates by maximum likelihood are then
/// several times worse than the bound (8 at 0.23, 16 frames and 30 dB), and at its height from
/// about 1.
inline constexpr double least_separability_angle = 0.4;

/// Unknowns, frames times layers: the matrices of 2000 need 32 megabytes each, and seconds.
inline constexpr std::size_t most_layer_unknowns = 2000;

/// Bins of a line: more than any gate has.
inline constexpr std::size_t most_layer_bins = 4000;

/// What can be had at best of one layer. Where nothing can, all deviations are infinite.
struct LayerLimit {
    std::vector<double> deviation;   ///< of the displacement, per frame [m]
    std::vector<double> covariance;  ///< of it, [frames x frames] row by row [m^2], if wanted
    double rms = 0;                  ///< of those deviations over the frames [m]
    double known_rms = 0;            ///< the layer alone in the same noise, its waveform known [m]

    std::size_t nearest = 0;  ///< from which layer it is told worst; itself if there is no other
    /// Separability angle from that one; infinite if there is no other [rad].
    double angle = std::numeric_limits<double>::infinity();

    /// Deviation of the estimated course's regression on the true one, as a part of it: the error
    /// of gain, alike in all frames, that goes straight into distension and strain. Infinite where
    /// the layer does not move.
    double gain_std = 0;
    /// The same of its regression on the relative course, which is its own course less the nearest
    /// layer's: which part of that it may borrow, coherently over the frames. 0 if there is no
    /// other.
    double borrowed_std = 0;

    std::vector<double> worst_course;  ///< the direction of the largest variance, squares sum to 1
    double worst_part = 0;             ///< of the variance over all frames that lies in it
    double worst_overlap = 0;          ///< squared cosine between it and the relative course

    std::vector<double> share_std;  ///< of its shares in GivenCourses, in the courses' order

    [[nodiscard]] double ratio() const noexcept { return rms / known_rms; }
    [[nodiscard]] bool separable() const noexcept { return angle >= least_separability_angle; }
};

/// Separability angle of two layers, 2 pi f0 sd(tau_1 - tau_2) = (4 pi f0 / c) sd(x_1 - x_2), by
/// which they turn against each other over the frames [rad]; by the frames' weights if given.
/// Throws InvalidInput for courses of different or no length or that are not finite, f0 or c not
/// positive, or weights that are not.
[[nodiscard]] ECHOSIEVE_API double separability_angle(std::span<const double> first,
                                                      std::span<const double> second,
                                                      double centre_frequency, double sound_speed,
                                                      std::span<const double> weights = {});

/// Least standard deviations of unbiased estimates, per layer. Throws InvalidInput for fewer than
/// two frames, no layer or bin, sizes that do not fit, numbers that are not finite, noise,
/// frequencies, sound speed or weights not positive, more than most_layer_unknowns; for shared
/// spectra that are not multiples of each other; for correlations that are not symmetric, 1 on the
/// diagonal and those of a random sequence, or with spectra that are not random.
[[nodiscard]] ECHOSIEVE_API std::vector<LayerLimit> layer_limits(
    const LayerSetting& setting, const LayerAssumptions& assumptions = {});

/// Several lines, or gates, whose layers move by the same displacements, each with spectra and
/// noise of its own: their information adds. Angles, gains and the relative course are those of the
/// first line's courses. Throws InvalidInput also for lines that differ in layers, frames or
/// weights.
[[nodiscard]] ECHOSIEVE_API std::vector<LayerLimit> layer_limits(
    std::span<const LayerSetting> lines, const LayerAssumptions& assumptions = {});

/// What two_layer_estimate tells of the first layer.
struct TwoLayerEstimate {
    double angle = 0;         ///< separability angle [rad]
    double borrowed_std = 0;  ///< see LayerLimit
    double rms = 0;           ///< see LayerLimit [m]
};

/// Of the first of two layers with free spectra and courses, from sums over frames alone and
/// without a matrix of the frames: the bound's leading terms at small angles, see
/// docs/layer_limits.md for how near they are. Throws InvalidInput as layer_limits does, or unless
/// there are two layers.
[[nodiscard]] ECHOSIEVE_API TwoLayerEstimate two_layer_estimate(const LayerSetting& setting);

}  // namespace echosieve
