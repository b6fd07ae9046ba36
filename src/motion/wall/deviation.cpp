#include "motion/wall/deviation.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "echosieve/core/detail/bisect.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

// Of two errors that are alike by `correlation`, their sum's.
double together(double x, double y, double correlation) noexcept {
    return std::sqrt(std::max(x * x + y * y + 2 * correlation * x * y, 0.0));
}

}  // namespace

double wall_deviation(const DeviationParts& parts, double noise, double pulse) noexcept {
    return std::hypot(noise, parts.gain * pulse, parts.model);
}

double diameter_deviation(const DeviationParts& near, const DeviationParts& far, double noise,
                          double pulse, const WallDeviationOptions& options) noexcept {
    // Walls that both move by too much widen the artery by too much; what both do besides moves it.
    return std::hypot(noise, pulse * together(near.gain, far.gain, options.gain_correlation),
                      together(near.model, far.model, -options.model_correlation));
}

double mixed_deviation(double deviation, double right,
                       const WallDeviationOptions& options) noexcept {
    constexpr double part = 0.95;
    constexpr double normal_reach = 1.959964;  // of that part
    constexpr int halvings = 20;               // to a millionth
    const double scale = normal_reach / std::numbers::sqrt2;
    const auto too_small = [&](double x) {
        return right * std::erf(scale * x / deviation) +
                   (1 - right) * std::erf(scale * x / options.wrong_wall) <
               part;
    };
    if (!(deviation > 0 && deviation < options.wrong_wall)) {
        return deviation;
    }
    return detail::bisect({deviation, options.wrong_wall}, halvings, too_small).high;
}

StatedWall stated(double deviation, double right, const WallConfidenceOptions& options) noexcept {
    return {mixed_deviation(deviation, right, options.deviation),
            right * closeness(deviation, options)};
}

void set_deviations(WallReport& report, const WallMotion& motion,
                    const WallDeviationOptions& options) {
    constexpr double usual_pulse = 0.3;  // rms of p: of a pulse that is up a third of the time
    const double scatter =
        std::hypot(options.gain_least, options.gain_scatter * report.share_scatter);
    const double gain_change = options.gain_own * report.fast_motion;
    const double size = std::abs(report.pulse_share);
    report.noise_std = options.noise * quantile(motion.deviation, 0.5);
    report.gain_std = size > 0 ? std::hypot(scatter, gain_change) / size : 0;
    report.model_std = std::hypot(options.model_least, options.model_own * report.fast_motion);
    const double tissue = usual_pulse * scatter;
    const double change = std::hypot(usual_pulse * gain_change, report.model_std);
    report.limit = report.noise_std > std::max(tissue, change) ? WallLimit::noise
                   : tissue > change                           ? WallLimit::tissue
                                                               : WallLimit::change;
}

}  // namespace echosieve
