#include "echosieve/motion/block_means.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <complex>

#include "echosieve/motion/layers.hpp"

namespace echosieve {

Eigen::ArrayXd block_means(const Eigen::ArrayXd& x, const Eigen::ArrayXd& weight,
                           Eigen::Index length) {
    const Eigen::Index count = (x.size() + length - 1) / length;
    Eigen::ArrayXd means(count);
    for (Eigen::Index i = 0; i < count; ++i) {
        const Eigen::Index rows = std::min(length, x.size() - i * length);
        const double total = weight.segment(i * length, rows).sum();
        means[i] = total > 0 ? (x * weight).segment(i * length, rows).sum() / total
                             : x.segment(i * length, rows).mean();
    }
    return means;
}

LayerTimes block_means(const LayerTimes& times, Eigen::Index length) {
    return {block_means(times.pulse, times.weight, length),
            block_means(times.bulk, times.weight, length),
            block_means(times.weight, Eigen::ArrayXd::Ones(times.weight.size()), length),
            times.sound_speed};
}

Eigen::ArrayXXcd block_means(const GateSpectrum& gate, const LayerTimes& times, double bulk,
                             Eigen::Index length) {
    const Eigen::ArrayXXcd still =
        (gate.values * layer_phasors(gate, times, {0, -bulk})).colwise() *
        times.weight.cast<std::complex<double>>();
    const Eigen::Index count = (still.rows() + length - 1) / length;
    Eigen::ArrayXXcd means(count, still.cols());
    for (Eigen::Index i = 0; i < count; ++i) {
        const Eigen::Index first = i * length;
        const Eigen::Index rows = std::min(length, still.rows() - first);
        const double total = times.weight.segment(first, rows).sum();
        means.row(i) = still.middleRows(first, rows).colwise().sum() / (total > 0 ? total : 1.0);
    }
    return means;
}

}  // namespace echosieve
