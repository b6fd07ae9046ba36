#include "motion/wall/report.hpp"

#include <cmath>

#include "echosieve/motion/layer_limits.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

constexpr double fast_frequency = 1;  // [Hz]

}  // namespace

WallReport wall_report(const SeparatedWall& wall, const WallMotion& motion, double frame_rate) {
    WallReport out;
    out.pulse_share = wall.share().pulse;
    out.bulk_share = wall.state.bulk;
    out.tissue_pulse_share = wall.state.sense * wall.state.prior.tissue_reach * wall.state.share;
    out.residual = wall.layered.fit.residual();
    out.own_motion = std::sqrt(motion.own.square().mean());
    out.fast_motion =
        std::sqrt(without_slow_part(motion.own, fast_frequency, frame_rate).square().mean());
    out.share_deviation = wall.state.share_deviation;
    out.share_scatter = wall.doubt.scatter;
    out.separability = wall.doubt.separability;
    out.separable = out.separability >= least_separability_angle;
    out.presence = wall.doubt.presence;
    out.pulse_drift = wall.doubt.pulse_drift;
    out.evidence = wall.evidence;
    out.mean_evidence = wall.mean_evidence;
    out.tissue_linearity = wall.tissue_linearity;
    out.tissue_line = wall.tissue_line;
    return out;
}

void set_confidence(WallReport& near, WallReport& far, const WallConfidenceOptions& options) {
    near.confidence = wall_confidence(wall_signs(near, far), options);
    far.confidence = wall_confidence(wall_signs(far, near), options);
}

}  // namespace echosieve
