#include "motion/layers/group_means.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <complex>
#include <cstddef>

#include "echosieve/core/error.hpp"
#include "motion/layers/layers.hpp"

namespace echosieve {

FrameGroups quiet_groups(const LayerTimes& times, const QuietGroupLimits& limits) {
    require(limits.unit >= 1, "unit", limits.unit, "must be at least 1 [frames]");
    require(limits.longest >= 1, "longest", limits.longest, "must be at least 1 [frames]");
    const Eigen::Index frames = times.pulse.size();
    FrameGroups groups{{}, static_cast<double>(limits.unit)};
    for (Eigen::Index begin = 0; begin < frames;) {
        groups.first.push_back(begin);
        double least_p = times.pulse[begin];
        double most_p = least_p;
        double least_q = times.bulk[begin];
        double most_q = least_q;
        Eigen::Index end = begin + 1;
        for (; end < frames && end - begin < limits.longest; ++end) {
            least_p = std::min(least_p, times.pulse[end]);
            most_p = std::max(most_p, times.pulse[end]);
            least_q = std::min(least_q, times.bulk[end]);
            most_q = std::max(most_q, times.bulk[end]);
            if (most_p - least_p > limits.pulse || most_q - least_q > limits.bulk) {
                break;
            }
        }
        begin = end;
    }
    groups.first.push_back(frames);
    return groups;
}

LayerTimes group_means(const LayerTimes& times, const FrameGroups& groups) {
    LayerTimes out;
    out.pulse = group_means(times.pulse, times.weight, groups);
    out.bulk = group_means(times.bulk, times.weight, groups);
    out.weight.resize(groups.count());
    for (Eigen::Index k = 0; k < out.weight.size(); ++k) {
        const auto [first, rows] = groups.range(k);
        out.weight[k] = times.weight.segment(first, rows).sum() / groups.unit;
    }
    out.sound_speed = times.sound_speed;
    return out;
}

Eigen::ArrayXXcd group_means(const GateSpectrum& gate, const LayerTimes& times,
                             const LayerShare& share, const FrameGroups& groups) {
    LayerTimes within = times;
    if (share.pulse != 0) {
        const Eigen::ArrayXd means = group_means(times.pulse, times.weight, groups);
        for (Eigen::Index k = 0; k < means.size(); ++k) {
            const auto [first, rows] = groups.range(k);
            within.pulse.segment(first, rows) -= means[k];
        }
    }
    const Eigen::ArrayXXcd still =
        (gate.values * layer_phasors(gate, within, {-share.pulse, -share.bulk})).colwise() *
        times.weight.cast<std::complex<double>>();
    Eigen::ArrayXXcd means(groups.count(), still.cols());
    for (Eigen::Index k = 0; k < means.rows(); ++k) {
        const auto [first, rows] = groups.range(k);
        const double total = times.weight.segment(first, rows).sum();
        means.row(k) = still.middleRows(first, rows).colwise().sum() / (total > 0 ? total : 1.0);
    }
    return means;
}

}  // namespace echosieve
