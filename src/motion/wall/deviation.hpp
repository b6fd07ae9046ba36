// What the standard deviation of a wall's displacement is made of, and what that of the diameter
// is.
#pragma once

#include <cmath>

#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/wall/own_motion.hpp"

namespace echosieve {

// Symbols: those of WallDeviationOptions.

/// Parts of one wall's standard deviation in a frame, but for the noise [m].
struct DeviationParts {
    double gain = 0;   ///< G
    double model = 0;  ///< M
};

/// Of a report, or of a wall that was learned: both say gain_std and model_std.
template <class Wall>
[[nodiscard]] DeviationParts deviation_parts(const Wall& wall, double pulse_share) noexcept {
    return {wall.gain_std * std::abs(pulse_share), wall.model_std};
}

/// s_i: of a wall in a frame with noise N_i [m] and pulse p_i.
[[nodiscard]] double wall_deviation(const DeviationParts& parts, double noise,
                                    double pulse) noexcept;

/// Of the diameter, `noise` that of both walls together.
[[nodiscard]] double diameter_deviation(const DeviationParts& near, const DeviationParts& far,
                                        double noise, double pulse,
                                        const WallDeviationOptions& options) noexcept;

/// Where a wall may be the wrong one: the deviation of which 95 % of the errors lie within 1.96,
/// those of right walls normal with `deviation` [m], those of wrong ones with W.
[[nodiscard]] double mixed_deviation(double deviation, double right,
                                     const WallDeviationOptions& options) noexcept;

/// What is reported of a wall whose deviation is that of a right one [m].
struct StatedWall {
    double deviation = 0;  ///< [m]
    double quality = 0;
};

[[nodiscard]] StatedWall stated(double deviation, double right,
                                const WallConfidenceOptions& options) noexcept;

/// Sets the report's noise_std, gain_std and model_std.
void set_deviations(WallReport& report, const WallMotion& motion,
                    const WallDeviationOptions& options);

}  // namespace echosieve
