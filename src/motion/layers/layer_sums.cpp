#include "motion/layers/layer_sums.hpp"

#include <cstddef>

#include "motion/kernels/layer_sums_kernel.hpp"

namespace echosieve {

LayerSummer::LayerSummer(const GateSpectrum& gate, const LayerTimes& times, Eigen::Index layers)
    : gate_(gate),
      layers_(layers),
      stride_(kernels::whole_registers(gate.values.rows())),
      motion_(Eigen::ArrayXXd::Zero(stride_, 2)),
      weights_(Eigen::ArrayXXd::Zero(stride_, layer_moments)),
      delays_(stride_, layers),
      work_(4 * layers * stride_) {
    const Eigen::Index frames = gate.values.rows();
    const Eigen::ArrayXd& p = times.pulse;
    const Eigen::ArrayXd& q = times.bulk;
    const Eigen::ArrayXd& w = times.weight;
    motion_.col(0).head(frames) = 2 / times.sound_speed * p;
    motion_.col(1).head(frames) = 2 / times.sound_speed * q;
    weights_.topRows(frames) << w, w * p, w * q, w * p * p, w * p * q, w * q * q;
    totals_ = weights_.colwise().sum().transpose();
}

void LayerSummer::sum(const std::vector<LayerShare>& shares, LayerSums& out) {
    const Eigen::Index bins = gate_.bins();
    out.layers_ = layers_;
    out.weights_ = totals_;
    out.pairs_.resize(bins * layers_ * (layers_ - 1) / 2 * layer_moments);
    out.projections_.resize(bins * layers_ * 3);
    for (Eigen::Index k = 0; k < layers_; ++k) {
        const LayerShare& share = shares[static_cast<std::size_t>(k)];
        delays_.col(k) = share.pulse * motion_.col(0) + share.bulk * motion_.col(1);
    }
    const FrequencyRow row = gate_.angular();
    kernels::sum_layers_of(default_instruction_set())(
        {reinterpret_cast<const double*>(gate_.values.data()), delays_.data(), weights_.data(),
         static_cast<std::size_t>(gate_.values.rows()), static_cast<std::size_t>(stride_),
         static_cast<std::size_t>(layers_), row.first, row.step, row.bins, work_.data(),
         reinterpret_cast<double*>(out.projections_.data()),
         reinterpret_cast<double*>(out.pairs_.data())});
}

}  // namespace echosieve
