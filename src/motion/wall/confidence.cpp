#include "echosieve/motion/wall_options.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "motion/wall/shared_beliefs.hpp"

namespace echosieve {

namespace {

// Below these a sign's logarithm says no more: the weights were fitted with them.
constexpr double least_fast_motion = 0.01;  // [um]
constexpr double least_nonlinearity = 1e-3;
constexpr double least_mean_evidence = 0.01;
constexpr double least_presence = 1e-3;
constexpr double least_drift = 0.01;
constexpr double least_scatter = 1e-3;  // over the share
constexpr double micrometres = 1e6;     // a metre

}  // namespace

WallSigns wall_signs(const WallReport& wall, const WallReport& other) {
    const auto size = [](double x, double least) { return std::log10(std::max(x, least)); };
    const auto scatter = [&](const WallReport& one) {
        const double share = std::max(std::abs(one.pulse_share), smallest_wall_share);
        return size(one.share_scatter / share, least_scatter);
    };
    const double apart = wall.pulse_share != 0 ? 1 - wall.tissue_line / wall.pulse_share : 0;
    return {1,
            wall.residual,
            size(micrometres * wall.fast_motion, least_fast_motion),
            std::abs(wall.bulk_share - other.bulk_share),
            size(1 - wall.tissue_linearity, least_nonlinearity),
            std::clamp(apart, 0.0, 1.0),
            size(wall.mean_evidence, least_mean_evidence),
            size(wall.presence, least_presence),
            size(wall.pulse_drift, least_drift),
            scatter(wall),
            scatter(other)};
}

double wall_confidence(const WallSigns& signs, const WallConfidenceOptions& options) {
    using Signs = Eigen::Array<double, wall_sign_count, 1>;
    const double sum = (Signs(signs.data()) * Signs(options.weights.data())).sum();
    return 1 / (1 + std::exp(-sum));
}

double closeness(double deviation, const WallConfidenceOptions& options) {
    return deviation > 0 ? std::erf(options.close / (std::numbers::sqrt2 * deviation)) : 1;
}

}  // namespace echosieve
