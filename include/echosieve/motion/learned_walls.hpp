// What a following frame by frame has to know of an artery: its gates' layers, learned from the
// first seconds of a recording. Link echosieve::motion.
#pragma once

#include <complex>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "echosieve/condition/options.hpp"
#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/common_motion_options.hpp"
#include "echosieve/motion/pulse_delay.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "echosieve/motion/wall_options.hpp"

namespace echosieve {

// Symbols
//   p_i pulse, q_i bulk motion of frame i;  a [m], b shares of a layer in them
//   S   spectrum of a layer at rest;  v mean square of what all layers leave, a frame and bin
//   x_g(i) = A_g p_i + B_g (q_i - q_0)   where gate g is cut in frame i, from its depth

/// A gate as a sum of layers, each with its spectrum at rest.
struct LearnedGate {
    double depth = 0;                           ///< of its centre when x_g is 0 [m]
    LayerShare path;                            ///< A, B
    double path_offset = 0;                     ///< q_0 [m]
    double taper = 0;                           ///< of its window, see gate_window
    SamplingGrid grid;                          ///< of its samples when x_g is 0
    std::vector<double> frequencies;            ///< of its bins, absolute, evenly spaced [Hz]
    std::vector<LayerShare> shares;             ///< per layer
    std::vector<std::complex<double>> spectra;  ///< S, [layers x bins], layer by layer
    std::size_t wall_layers = 0;  ///< the first layers are the wall's, and move as it does
    double noise = 0;             ///< v, mean squared rest per frame and bin
    bool late = false;            ///< follows the pulse by the lag, and says nothing of p
};

struct LearnedWall {
    LearnedGate gate;
    LayerShare share;         ///< of the wall: a [m], b
    double depth = 0;         ///< at rest, the pulse's delay taken off [m]
    double gain_std = 0;      ///< see WallReport
    double model_std = 0;     ///< see WallReport [m]
    double confidence = 0;    ///< that the right wall is followed, 0 to 1
    std::vector<double> own;  ///< motion beyond p and q, per frame learned from [m]
};

/// An artery, learned. Depths are in metres, time courses per frame learned from.
struct LearnedWalls {
    RecordingSettings settings;
    BasebandOptions baseband;
    std::size_t samples = 0;  ///< of a raw frame
    LearnedWall near;
    LearnedWall far;
    std::vector<LearnedGate> tissue;
    std::vector<double> pulse;  ///< p
    std::vector<double> bulk;   ///< q [m]
    std::vector<bool> usable;   ///< frames
    double lag = 0;             ///< of the tissue's pulse after p [frames]
    double energy = 0;          ///< median of the frames' energy below the dead zone
    double dead_zone = 0;       ///< [m]
    double lowest = 0;          ///< of the raw samples of good frames
    double highest = 0;
    std::size_t pinned = 0;  ///< most raw samples of a good frame in flat runs at these extremes
    WallConfidenceOptions confidence;  ///< what the learned walls' was computed with
    PulseDelay pulse_delay;            ///< taken off both walls' depths
    /// what is unusual about the settings, what the samples contradict of them, what is taken off;
    /// what is contradicted has lowered the walls' confidence
    std::vector<std::string> warnings;
};

/// Throws InvalidInput, naming field, value and limit, unless the parts fit each other as those
/// that learn_walls gives do: for walls that were kept elsewhere, or put together by hand.
ECHOSIEVE_API void validate(const LearnedWalls& walls);

struct FollowerOptions {
    int iterations = 2;              ///< Gauss-Newton steps a frame
    double least_correlation = 0.3;  ///< of a frame's wall with its echo; below it is not valid
    /// part of the gates' energy that the learned layers may leave: a frame of noise leaves all
    double largest_rest = 0.8;
    double energy_range = 9;  ///< largest factor between a frame's energy and the learned one
    double clipped_fraction = 0.005;  ///< of a frame's samples pinned, beyond those always pinned
    double agility = 2;               ///< strength of the changes of speed, over the learned one
    double longest_gap = 0.05;  ///< without a wall seen, before the state is looked for anew [s]
};

/// Throws InvalidInput, naming option, value and limit.
ECHOSIEVE_API void validate(const FollowerOptions& options);

/// A frame as it was followed. In a frame that is not valid the depths are what was to be expected,
/// the standard deviations NaN and the qualities 0.
struct FollowedFrame {
    FrameMotion motion;            ///< time counts from the first frame pushed
    double near_displacement = 0;  ///< from rest, deeper positive [m]
    double far_displacement = 0;   ///< [m]
    /// why the frame was not used; good, in a frame that is not valid: it showed no wall
    FrameState state = FrameState::good;
    bool searched = false;  ///< the state was looked for anew
};

struct LearnOptions {
    TrackOptions track;
    std::size_t tissue_gates = 4;  ///< kept, the best explained ones
};

/// Finds the artery in a recording of some seconds and takes its gates apart, as track_artery does.
/// Nothing if there is none in it. Throws InvalidInput as track_artery does.
[[nodiscard]] ECHOSIEVE_API std::optional<LearnedWalls> learn_walls(
    const Recording& recording, const LearnOptions& options = {});

}  // namespace echosieve
