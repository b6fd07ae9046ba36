#include "motion/wall/shared_beliefs.hpp"

#include <Eigen/Core>
#include <cmath>
#include <numbers>

#include "echosieve/core/detail/whole_number.hpp"

namespace echosieve {

Eigen::ArrayXd pulse_power(const Eigen::ArrayXd& frequencies, const Sensor& sensor) {
    constexpr double least_power = 0.01;
    constexpr double six_decibels = 4;  // of the power, a factor
    return (-std::log(six_decibels) *
            ((frequencies - sensor.centre_frequency) / (sensor.bandwidth / 2)).square())
        .exp()
        .max(least_power);
}

QuietGroupLimits quiet_limits(const AveragedFrames& averaged, const RecordingSettings& settings,
                              double pulse, double bulk) {
    const auto in_frames = [&](double interval) {
        return held_whole(std::round(interval * settings.frame_rate), Eigen::Index{1},
                          Eigen::Index{most_counted});
    };
    const double phase_per_metre =
        2 * std::numbers::pi * settings.sensor.centre_frequency * 2 / settings.sound_speed;
    const double most = averaged.largest_turn / phase_per_metre;
    return {in_frames(averaged.interval), in_frames(averaged.longest_interval), most / pulse,
            most / bulk};
}

}  // namespace echosieve
