#include "motion/layers/block_means.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <complex>
#include <cstddef>

#include "echosieve/core/error.hpp"
#include "motion/layers/layers.hpp"

namespace echosieve {

FrameBlocks even_blocks(Eigen::Index frames, Eigen::Index length) {
    require(length >= 1, "length", length, "must be at least 1 [frames]");
    FrameBlocks blocks{{}, static_cast<double>(length)};
    for (Eigen::Index i = 0; i < frames; i += length) {
        blocks.first.push_back(i);
    }
    blocks.first.push_back(frames);
    return blocks;
}

FrameBlocks quiet_blocks(const LayerTimes& times, const QuietBlockLimits& limits) {
    require(limits.unit >= 1, "unit", limits.unit, "must be at least 1 [frames]");
    require(limits.longest >= 1, "longest", limits.longest, "must be at least 1 [frames]");
    const Eigen::Index frames = times.pulse.size();
    FrameBlocks blocks{{}, static_cast<double>(limits.unit)};
    for (Eigen::Index begin = 0; begin < frames;) {
        blocks.first.push_back(begin);
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
    blocks.first.push_back(frames);
    return blocks;
}

Eigen::ArrayXd block_means(const Eigen::ArrayXd& x, const Eigen::ArrayXd& weight,
                           const FrameBlocks& blocks) {
    Eigen::ArrayXd means(blocks.count());
    for (Eigen::Index k = 0; k < means.size(); ++k) {
        const auto [first, rows] = blocks.range(k);
        const double total = weight.segment(first, rows).sum();
        means[k] = total > 0 ? (x.segment(first, rows) * weight.segment(first, rows)).sum() / total
                             : x.segment(first, rows).mean();
    }
    return means;
}

LayerTimes block_means(const LayerTimes& times, const FrameBlocks& blocks) {
    LayerTimes out;
    out.pulse = block_means(times.pulse, times.weight, blocks);
    out.bulk = block_means(times.bulk, times.weight, blocks);
    out.weight.resize(blocks.count());
    for (Eigen::Index k = 0; k < out.weight.size(); ++k) {
        const auto [first, rows] = blocks.range(k);
        out.weight[k] = times.weight.segment(first, rows).sum() / blocks.unit;
    }
    out.sound_speed = times.sound_speed;
    return out;
}

Eigen::ArrayXXcd block_means(const GateSpectrum& gate, const LayerTimes& times,
                             const LayerShare& share, const FrameBlocks& blocks) {
    LayerTimes within = times;
    if (share.pulse != 0) {
        const Eigen::ArrayXd means = block_means(times.pulse, times.weight, blocks);
        for (Eigen::Index k = 0; k < means.size(); ++k) {
            const auto [first, rows] = blocks.range(k);
            within.pulse.segment(first, rows) -= means[k];
        }
    }
    const Eigen::ArrayXXcd still =
        (gate.values * layer_phasors(gate, within, {-share.pulse, -share.bulk})).colwise() *
        times.weight.cast<std::complex<double>>();
    Eigen::ArrayXXcd means(blocks.count(), still.cols());
    for (Eigen::Index k = 0; k < means.rows(); ++k) {
        const auto [first, rows] = blocks.range(k);
        const double total = times.weight.segment(first, rows).sum();
        means.row(k) = still.middleRows(first, rows).colwise().sum() / (total > 0 ? total : 1.0);
    }
    return means;
}

}  // namespace echosieve
