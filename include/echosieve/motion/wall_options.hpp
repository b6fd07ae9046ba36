// How the two walls are looked for along the line, taken out of the tissue on them and trusted: the
// options. The steps themselves, with their symbols: src/motion/wall, each in the header named. The
// pulse p has range 1, so that a share in it is a length. Link echosieve::motion.
#pragma once

#include <array>
#include <cstddef>
#include <limits>
#include <vector>

#include "echosieve/core/detail/api.hpp"
#include "echosieve/motion/common_motion_options.hpp"

namespace echosieve {

/// How frames are averaged while walls are looked for and taken apart. Averages of twice the turn
/// are an eighth faster, and in 66 drawn recordings lost the walls of two.
inline constexpr double weighing_interval = 4e-3;     ///< frames within it together weigh 1 [s]
inline constexpr double longest_average = 16e-3;      ///< while little moves [s]
inline constexpr double largest_average_turn = 0.35;  ///< of an echo within one [rad]

/// A gate asked for the fastest pulse share in it, all slower ones allowed.
struct ShareScanOptions {
    double largest_share = 750e-6;  ///< over the range of p [m]
    double steps_per_wavelength =
        4;                      ///< of the grid: a half wavelength over the range of p is so many
    double against = 60e-6;     ///< how far the grid reaches the other way [m]
    double least_noise = 0.03;  ///< part of a gate's power that the model may not reach
    double unexplained = 0.03;  ///< part of the evidence that faster shares may still hold
    double mirror = 0.7;  ///< of the evidence for motion the other way: what is no motion at all,
                          ///< but strength that changes, shows both ways alike
    double drift_frequency =
        1;                  ///< what the strongest layer does below it by itself is taken out [Hz]
    double distinct = 0.7;  ///< shares below this part of the fastest are slower ones
};

/// Where a wall may lie: the centre of its gate.
struct DepthRange {
    double from = 0;                                      ///< [m]
    double to = std::numeric_limits<double>::infinity();  ///< [m]

    [[nodiscard]] bool holds(double depth) const noexcept { return depth >= from && depth <= to; }
};

/// Which pair of depths is taken for the walls.
struct WallFinderOptions {
    /// below the first sample, where the ring-down ends: no wall is looked for above, and nothing
    /// there counts for contact, energy, slips, the common motion or the pulse's shape [m]
    double dead_zone = default_dead_zone;
    double smallest_diameter = 3e-3;     ///< between the walls [m]
    double largest_diameter = 13e-3;     ///< [m]
    double scan_spacing = 0.3;           ///< between the depths tried, in half gates
    double smallest_motion = 12e-6;      ///< of a wall over the range of the pulse [m]
    double smallest_distension = 60e-6;  ///< of both walls together, over the same range [m]
    double smallest_share = 0.1;         ///< of the distension that a wall takes
    double least_evidence = 20;    ///< for anything that moves, and for a wall's share over clearly
                                   ///< slower ones alone
    double mirror = 0.15;          ///< of the evidence for motion the other way: less is its image
    double usual_part = 0.05;      ///< of the line's most evidence one way: where half is believed
    double evidence_power = 0.15;  ///< of the evidence, beside the share's square
    ShareScanOptions scan;
    double interval = weighing_interval;  ///< frames within it together weigh 1 in the evidence [s]
    double longest_interval =
        longest_average;           ///< frames within it are averaged while little moves [s]
    double usual_motion = 400e-6;  ///< of a wall over the range of p [m]: in an average its
    double largest_turn = largest_average_turn;  ///< echo turns by this at most [rad]
    DepthRange near_range;                       ///< where the near wall is looked for, at rest
    DepthRange far_range;                        ///< where the far wall is looked for, at rest
};

/// Which guesses are tried, and when the search ends.
struct WallSearchOptions {
    PulseCandidateOptions candidates;
    std::size_t most_candidates = 3;  ///< that are scanned beside the tissue's pulse
    double least_opposition = 0.8;    ///< of a candidate, over that of the tissue's pulse
    double least_promise = 0.1;       ///< of a pair, over the most promising one's, to be tried
    /// confidence of both walls that ends the search: the rest promise less, and a pair in slow
    /// tissue can look surer than the walls where tissue echoes are the stronger ones
    double sure = 0.5;
    /// mean evidence of a wall below which tissue explains its gate nearly as well: such a pair is
    /// tried again from `smaller_start` times its shares, if none is sure
    double hardly_seen = 0.1;
    double smaller_start = 0.6;
};

/// Tissue that pulsates later than the walls (tissue_lag.hpp).
struct TissueLagOptions {
    double largest_lag = 60e-3;  ///< [s]
    double least_evidence = 40;  ///< of the walls together, for a lag
    double least_gain = 0.05;    ///< of the tissue: mean of ln(cost without it / cost with it)
};

/// Which of a wall's two echoes is meant.
enum class WallLayer { outer, inner };

/// Where the layer meant lies in a wall's waveform (reference_layer.hpp).
struct ReferenceLayerOptions {
    WallLayer layer = WallLayer::outer;
    double lowest_peak = 0.5;       ///< of the largest energy: lower maxima are not the wall
    double reach = 1.3e-3;          ///< from the strongest peak outwards [m]
    double thickest_wall = 0.9e-3;  ///< from the wall's first estimate outwards [m]
};

/// The likelihood of a wall's gate: the wall a strained sheet, the tissue on it slower layers
/// (wall/model.hpp).
struct WallModelOptions {
    double interval = weighing_interval;  ///< frames within it together weigh 1 in the evidence [s]
    double longest_interval =
        longest_average;  ///< frames within it are averaged while little moves [s]
    double largest_turn =
        largest_average_turn;   ///< of the wall's echo against the tissue's within an average [rad]
    double thickness = 1.1e-3;  ///< of the sheet, from the layer followed towards the lumen [m]
    double lead = 0.35e-3;      ///< of the sheet outside that layer, at 1 MHz bandwidth [m]
    double spacing = 0.27;      ///< of the sheet's layers, over the resolution c / (2 bandwidth)
    double decay = 0.5e-3;      ///< of the echoes' power over depth, to 1/e [m]
    double still_power = 0.1;   ///< of what stands still, over the gate's power
    double least_noise = 0.02;  ///< part of a gate's power that the model may not reach
    /// what is tried, the most likely kept: power of a layer of tissue and of the wall, over the
    /// gate's; largest share of the tissue, over the wall's
    std::vector<double> tissue_powers = {0.01, 0.03};
    std::vector<double> wall_powers = {0.1, 0.5, 3, 15};
    std::vector<double> tissue_reaches = {0.5, 0.65};
    double strain_mean = 0.85;   ///< strain over an incompressible tube's, before the gate is seen
    double strain_spread = 0.2;  ///< its standard deviation
};

/// Both walls and the tissue in turn (wall/separation.hpp).
struct WallSeparationOptions {
    double tissue_half_gate = 0.8e-3;  ///< [m]
    double tissue_spacing = 1e-3;      ///< [m]
    double wall_distance = 1.5e-3;     ///< of tissue gates from the walls [m]
    double bulk_reach = 0.7;           ///< of a wall's share in the bulk motion from the line's
    bool search_cycles = true;         ///< look for a wall's cycle over all within reach
    int rounds = 3;       ///< of shares and time courses in turn, before the walls are placed
    int fine_rounds = 5;  ///< and after
    JointMotionOptions coarse{};
    JointMotionOptions fine{.pulse_cutoff = 35};
    GapSettlingOptions gaps;
    TissueLagOptions lag;
    ReferenceLayerOptions reference;
    WallModelOptions model;
};

/// A wall as a few echoes (wall/echoes.hpp).
struct WallEchoOptions {
    std::size_t atoms = 4;       ///< echoes a wall, at most
    double spread = 0.10;        ///< of centre frequency and bandwidth about the sensor's
    double least_energy = 1e-3;  ///< pursuit ends at this part of the waveform's energy
};

/// What a wall does beyond pulse and bulk motion (own_motion.hpp).
struct WallMotionOptions {
    double cutoff = 20;     ///< of what the wall does by itself [Hz]
    double spread = 20e-6;  ///< of it, usually [m]
};

// Symbols
//   x   signs of a wall and its pair, see wall_signs();  w  their weights
//   P(right) = 1 / (1 + e^(-w x))                              (logistic regression)
//   s_i   reported standard deviation of frame i
//   q_i = P(right) erf(t / (sqrt(2) s_i)) in frame i: within t of the truth, the error normal
//
// A wrong wall, the wrong layer of the right one, or a lost cycle look like a good fit to the frame
// alone, but leave signs: much unexplained, motion of its own, shares that do not suit each other,
// tissue that pulsates as a whole and a wall that does as the tissue does, little evidence, and a
// gate that smooth tissue would explain as well.
// The weights are fitted to synthetic recordings of all simulators with known truth, drawn from
// seeds that no test and no published figure uses (bench/studies/calibrate.py); how well they hold
// on other seeds and on a simulator left out, docs/error_bars.md says.

// Symbols
//   n_i   Cramer-Rao bound of frame i's delay, the wall's waveform known (own_motion.hpp) [m]
//   d, o  the wall's share_scatter and fast_motion [m];  p_i  the pulse, range 1, mean 0
//   N_i = k_n n_i                                  noise, the model given
//   G^2 = g_0^2 + (g_d d)^2 + (g_o o)^2            gain: wall and tissue trade shares [m]
//   M^2 = m_0^2 + (m_o o)^2                        what the model leaves out
//   s_i^2 = N_i^2 + (G p_i)^2 + M^2                of a right wall
//   W     errors of a wrong one [m]; reported is x, so that P(right) of N(0, s_i^2) and the rest of
//         N(0, W^2) together hold 95 % within 1.96 x
//   diameter: the walls' G and M are alike by r_g (both too large or too small) and r_m
//
// The errors of right walls are split along the pulse and across it, and the factors are those
// that make them likeliest (Student's t of 4 degrees), stretched so that 95 and 68 % lie
// within 1.96 and 1 of them (the same recordings as the weights').

/// What a wall's standard deviation is made of.
struct WallDeviationOptions {
    double noise = 2.10;             ///< k_n
    double gain_least = 0.58e-6;     ///< g_0 [m]
    double gain_scatter = 4.63;      ///< g_d
    double gain_own = 2.97;          ///< g_o
    double model_least = 0.48e-6;    ///< m_0 [m]
    double model_own = 1.52;         ///< m_o
    double gain_correlation = 0.07;  ///< r_g
    double model_correlation = 0;    ///< r_m
    double wrong_wall = 60e-6;       ///< W: rms error of a wall that is the wrong one [m]
};

struct WallReport;

inline constexpr std::size_t wall_sign_count = 11;
using WallSigns = std::array<double, wall_sign_count>;

/// The signs of one wall of a pair: 1; the part of its gate unexplained; log10 of its fast motion
/// of its own [um]; the difference of both bulk shares; log10 of the part of the tissue's pulse
/// shares that is no straight line over depth; the part of its share by which it stands out from
/// that line, 0 to 1; log10 of its evidence per independent value of its gate, of its
/// presence, of the pulse's drift, and of the scatter over the share of both walls, its own first.
[[nodiscard]] ECHOSIEVE_API WallSigns wall_signs(const WallReport& wall, const WallReport& other);

struct WallConfidenceOptions {
    WallSigns weights = {-11.20, -1.07, -3.25, -1.92, 1.00, 3.24,
                         0.35,   0.73,  -4.47, -1.19, -1.55};  ///< w
    WallDeviationOptions deviation;
    double close = 20e-6;           ///< t [m]
    double least_confidence = 0.2;  ///< of each wall: below it no artery is reported
};

/// P(right) of a wall.
[[nodiscard]] ECHOSIEVE_API double wall_confidence(const WallSigns& signs,
                                                   const WallConfidenceOptions& options = {});

/// Chance that a displacement with `deviation` [m] is within t of the truth, the wall being right.
[[nodiscard]] ECHOSIEVE_API double closeness(double deviation,
                                             const WallConfidenceOptions& options = {});

/// Each throws InvalidInput, naming option, value and limit, for an option outside its domain.
ECHOSIEVE_API void validate(const ShareScanOptions& options);
ECHOSIEVE_API void validate(const WallFinderOptions& options);
ECHOSIEVE_API void validate(const WallSearchOptions& options);
ECHOSIEVE_API void validate(const TissueLagOptions& options);
ECHOSIEVE_API void validate(const ReferenceLayerOptions& options);
ECHOSIEVE_API void validate(const WallModelOptions& options);
ECHOSIEVE_API void validate(const WallSeparationOptions& options);
ECHOSIEVE_API void validate(const WallMotionOptions& options);
ECHOSIEVE_API void validate(const WallEchoOptions& options);
ECHOSIEVE_API void validate(const WallDeviationOptions& options);
ECHOSIEVE_API void validate(const WallConfidenceOptions& options);

}  // namespace echosieve
