// The pulse's delay from the echoes of a recording, see echosieve/motion/pulse_delay.hpp.
#pragma once

#include <Eigen/Core>

#include "echosieve/condition/options.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/pulse_delay.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/separation.hpp"

namespace echosieve {

/// E_m less its minimum, in the order of pulse_shapes.
[[nodiscard]] Eigen::ArrayXd pulse_evidence(const LineHistory& line, const SeparatedWalls& walls,
                                            const BasebandOptions& baseband = {},
                                            const PulseDelayOptions& options = {});

/// Mean and standard deviation of the delay under the evidence. Throws InvalidInput unless there is
/// one for each shape.
[[nodiscard]] PulseDelay weigh_delays(const Eigen::ArrayXd& evidence,
                                      const RecordingSettings& settings,
                                      const BasebandOptions& baseband = {},
                                      const PulseDelayOptions& options = {});

/// The delay given with the settings; if there is none, its estimate, or 0 if none is wanted.
/// Throws InvalidInput for options outside their domain.
[[nodiscard]] PulseDelay pulse_delay(const LineHistory& line, const SeparatedWalls& walls,
                                     const BasebandOptions& baseband = {},
                                     const PulseDelayOptions& options = {});

}  // namespace echosieve
