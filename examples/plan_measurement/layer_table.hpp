// How well a wall can be known whose echo overlaps tissue that moves against it.
#pragma once

#include <vector>

#include "echosieve/correlate/measurement_plan.hpp"

namespace plan_measurement {

struct OverlapRow {
    double against = 0;    ///< by which the tissue lags behind the wall at the pulse's height [m]
    double angle = 0;      ///< separability angle [rad]
    double deviation = 0;  ///< of the wall's displacement in a frame [m]
    double ratio = 0;      ///< of that over a known waveform's
    double gain = 0;       ///< error of the wall's gain
    double gain_of_share = 0;  ///< the same if the pulse's course is known
    bool separable = false;
};

/// Rows over how far the tissue moves against the wall, `own` [m] one of them. Throws InvalidInput
/// for an invalid plan, or own not positive and finite.
[[nodiscard]] std::vector<OverlapRow> overlapping_layers(const echosieve::MeasurementPlan& plan,
                                                         double own);

/// As Markdown.
void print(const std::vector<OverlapRow>& rows, double signal_to_noise);

}  // namespace plan_measurement
