// The Monte Carlo studies of limits_study: estimates of echoes in noise beside the least standard
// deviations that any unbiased estimate can have.
#pragma once

#include <cstddef>
#include <vector>

namespace limits_study {

/// One parameter of an echo over many trials.
struct Scatter {
    const char* name = "";
    double bound = 0;      ///< mean least standard deviation
    double ratio = 0;      ///< rms error over it
    double interval = 0;   ///< 95 % half width of the ratio
    double bias = 0;       ///< mean error over the bound
    double within_68 = 0;  ///< part of errors within one reported standard deviation
    double within_95 = 0;  ///< and within 1.96 of them
};

struct StudyPoint {
    double decibels = 0;    ///< peak over the noise's standard deviation
    double separation = 0;  ///< of two echoes [s]
    std::size_t trials = 0;
    std::size_t outliers = 0;  ///< arrivals more than half a period off
    std::vector<Scatter> scatters;
};

struct StudyOptions {
    std::size_t trials = 2000;
    std::size_t threads = 1;
    bool single_precision = false;  ///< samples in float
};

/// One echo, all parameters unknown, from a pursuit in a wide box and a joint fit.
[[nodiscard]] StudyPoint one_echo(double decibels, bool chirped, const StudyOptions& options);

/// Delay of one echo between two frames, from both frames' fitted echoes, by the phase.
[[nodiscard]] StudyPoint two_frames(double decibels, const StudyOptions& options);

/// The first arrival of two echoes of known shape, phases random.
[[nodiscard]] StudyPoint two_echoes(double separation, double decibels,
                                    const StudyOptions& options);

/// The same with shapes unknown but common to 100 frames.
[[nodiscard]] StudyPoint shared_shapes(double separation, double decibels,
                                       const StudyOptions& options);

/// Part of gates of noise alone, 8 us long, in which an echo is found.
struct FalseAlarms {
    double asked = 0;
    double found = 0;
    std::size_t gates = 0;
};
[[nodiscard]] FalseAlarms false_alarms(double probability, std::size_t gates,
                                       const StudyOptions& options);

}  // namespace limits_study
