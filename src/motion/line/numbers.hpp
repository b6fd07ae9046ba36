// Numbers that more than one room of motion goes by.
#pragma once

#include <limits>

namespace echosieve {

/// Of what can not be had at all.
inline constexpr double infinite = std::numeric_limits<double>::infinity();

/// What divides may be zero, where nothing was received: then the quotient is zero as well.
inline constexpr double least_divisor = 1e-300;

/// Times in the options are for a sensor of this centre frequency, and shorter in proportion above
/// [Hz]: an echo's phase turns in proportion.
inline constexpr double usual_centre = 4e6;

/// Added to what a track leaves unexplained, where tracks weigh by its inverse [m]: those that are
/// explained to a few micrometres count alike.
inline constexpr double usual_track_error = 5e-6;

/// Grids refined about their best place become finer by this factor: a step either side of the
/// place is covered by three of the finer ones.
inline constexpr int refined_steps = 3;

}  // namespace echosieve
