// What is read of the line as a whole, the options: frames in contact, the pulse and the bulk
// motion that all depths share, and what they did while contact was lost. The steps themselves,
// with their symbols: src/motion/line, courses and layers. Link echosieve::motion.
#pragma once

#include <cstddef>

#include "echosieve/core/detail/api.hpp"

namespace echosieve {

/// A layer moves by a p + b q: p is the pulse, of range 1, q the bulk motion [m].
struct LayerShare {
    double pulse = 0;  ///< a [m]
    double bulk = 1;   ///< b
};

/// Where the ring-down ends, unless another depth is said [m].
inline constexpr double default_dead_zone = 3.0e-3;

/// A frame without contact has no coherence with the next one.
struct ContactOptions {
    double smoothing = 8e-3;       ///< Gaussian in slow time [s]
    double least_coherence = 0.2;  ///< of the recording's median: below it contact is lost
    double surroundings =
        16e-3;  ///< Gaussian: a frame with a quarter of lost ones around it is lost too [s]
};

/// Frames between which the line moves faster than the echoes' phase can be followed.
struct SlipOptions {
    double span = 10e-3;          ///< between the lines compared [s]
    double largest_turn = 1.2;    ///< of the phase from frame to frame that can be followed [rad]
    double largest_shift = 3e-3;  ///< within span that is looked for [m]
    double least_correlation = 0.5;  ///< of the shifted lines
};

/// Displacement of the echoes in gates along the line, from the phase between successive frames.
struct PhaseTrackOptions {
    double first_offset = 2.5e-3;  ///< centre of the first gate, below the first sample [m]
    double spacing = 0.5e-3;       ///< between gate centres [m]
    double half_gate = 0.6e-3;     ///< half length of a gate [m]
    double line_smoothing =
        4e-3;  ///< slow-time Gaussian of the lines at 4 MHz, shorter in proportion above [s]
    double phase_smoothing = 3e-3;  ///< slow-time Gaussian of the correlation [s]
};

/// Tracks on both sides of a time without contact, put together.
struct TrackJoiningOptions {
    double window = 40e-3;        ///< frames before and after the gap that are averaged [s]
    double reach = 1.5;           ///< of what the gap may hold, over the motion's range elsewhere
    double least_reach = 0.1e-3;  ///< and at least so far, rms over the gates [m]
    double most_reach = 2e-3;     ///< and no further [m]
};

/// Pulse and bulk motion from the tracks of the whole line.
struct CommonMotionOptions {
    PhaseTrackOptions tracks;
    TrackJoiningOptions joining;
    double slow_frequency = 0.7;    ///< below this a motion counts as slow [Hz]
    double lowest_coherence = 0.2;  ///< tracks at or below it hardly count
    int reweightings = 10;          ///< of the tracks, by how well the two fit them
    double fastest_stretch = 1.0;   ///< a slow strain of the line holds nothing faster [Hz]
    /// ln of what that strain lowers the rest's mean square by, to be believed
    double least_gain = 0.01;
};

/// Guesses of the pulse from single gates, where the tissue hardly follows it.
struct PulseCandidateOptions {
    PhaseTrackOptions tracks{.half_gate = 0.7e-3};
    TrackJoiningOptions joining;
    double slow_frequency = 0.4;      ///< below it a gate's track is left out [Hz]
    double lowest_coherence = 0.15;   ///< of a gate's track
    double smoothing = 6e-3;          ///< of a guess: Gaussian in slow time [s]
    double lag = 4e-3;                ///< between the frames whose phases are compared [s]
    double depth_smoothing = 0.3e-3;  ///< of the guess's strength along the line: Gaussian [m]
    double alike = 0.97;              ///< guesses with a larger correlation are one
};

/// A step of pulse and bulk motion in all frames, from all gates at once (joint_motion.hpp).
struct JointMotionOptions {
    double pulse_cutoff = 25;     ///< steps of the pulse are smooth above it [Hz]
    double bulk_cutoff = 25;      ///< the same of the bulk motion: slips are fast [Hz]
    double slow_frequency = 0.7;  ///< below this a motion counts as slow [Hz]
};

/// What pulse and bulk motion did while contact was lost: what is tried (gap_settling.hpp).
struct GapSettlingOptions {
    double pulse_reach = 1;        ///< of the pulse, both ways, over its range
    double pulse_step = 0.05;      ///< of the pulse
    double half_waves = 3;         ///< of the bulk motion, both ways: half wavelengths
    double steps_a_half_wave = 8;  ///< of the bulk motion
};

/// Each throws InvalidInput, naming option, value and limit, for an option outside its domain.
ECHOSIEVE_API void validate(const ContactOptions& options);
ECHOSIEVE_API void validate(const SlipOptions& options);
ECHOSIEVE_API void validate(const PhaseTrackOptions& options);
ECHOSIEVE_API void validate(const TrackJoiningOptions& options);
ECHOSIEVE_API void validate(const CommonMotionOptions& options);
ECHOSIEVE_API void validate(const PulseCandidateOptions& options);
ECHOSIEVE_API void validate(const JointMotionOptions& options);
ECHOSIEVE_API void validate(const GapSettlingOptions& options);

}  // namespace echosieve
