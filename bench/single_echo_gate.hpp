// One echo of a raw residual as a problem on the conditioned gate: what swarms and other optimisers
// are compared on.
#pragma once

#include <algorithm>
#include <array>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/condition/gate_baseband.hpp"
#include "echosieve/kernels/detail/echo_swarm.hpp"
#include "echosieve/pursuit/detail/lane_array.hpp"
#include "echosieve/pursuit/detail/lane_atom.hpp"
#include "echosieve/pursuit/fast_pursuit.hpp"
#include "echosieve/pursuit/swarm_pursuit.hpp"
#include "frames.hpp"
#include "textbook_pursuit.hpp"

namespace bench {

/// Arrival, frequency, bandwidth [s, Hz, Hz].
using Place = std::array<double, 3>;

class SingleEchoGate {
public:
    SingleEchoGate()
        : basebander_(gate, sensor),
          bounds_(echosieve::detail::grid_bounds(basebander_.grid(), box())),
          samples_(basebander_.grid().count),
          real_(samples_.size()),
          imag_(samples_.size()),
          lanes_(
              echosieve::detail::sample_factors<double>(basebander_.grid(), basebander_.weights())),
          residual_(lanes_.stored()),
          atom_(residual_) {}

    [[nodiscard]] const std::vector<double>& weights() const { return basebander_.weights(); }
    [[nodiscard]] const echosieve::detail::GridBounds& bounds() const { return bounds_; }
    [[nodiscard]] echosieve::EchoSwarmBounds swarm_bounds() const {
        return echosieve::detail::swarm_bounds(basebander_.grid(), box());
    }

    /// Conditions the raw residual. The box's centre is the mixing frequency: no further turn.
    void condition(const std::vector<double>& raw) {
        basebander_.process(std::span<const double>(raw), std::span(samples_));
        for (std::size_t n = 0; n < samples_.size(); ++n) {
            real_[n] = weights()[n] * samples_[n].real();
            imag_[n] = weights()[n] * samples_[n].imag();
            residual_.real()[n] = lanes_.factors()[n] * samples_[n].real();
            residual_.imag()[n] = lanes_.factors()[n] * samples_[n].imag();
        }
    }
    /// The samples times their weights, as the swarm takes them.
    [[nodiscard]] std::span<const double> real() const { return real_; }
    [[nodiscard]] std::span<const double> imag() const { return imag_; }

    /// Energy that an echo explains on the gate, in double, over all samples that matter in double.
    [[nodiscard]] double explained(const echosieve::detail::LanePoint& p) {
        return lanes_.moments(bounds_.clamped(p), residual_, atom_).captured();
    }

    [[nodiscard]] echosieve::detail::LanePoint on_gate(const Place& p) const {
        const echosieve::SamplingGrid& grid = basebander_.grid();
        const double h = grid.step();
        return {grid.index(p[0]), 2 * std::numbers::pi * (p[1] - sensor.centre_frequency) * h,
                echosieve::decay_from_bandwidth(p[2]) * h * h};
    }
    [[nodiscard]] Place of_gate(const echosieve::EchoSwarmPoint& p) const {
        const echosieve::SamplingGrid& grid = basebander_.grid();
        const textbook::Bounds limits = textbook_bounds();
        const double root = p.root_decay * grid.sampling_rate;
        Place out{
            grid.time(p.arrival),
            sensor.centre_frequency + p.rotation / (2 * std::numbers::pi) * grid.sampling_rate,
            echosieve::bandwidth_from_decay(root * root)};
        for (std::size_t k = 0; k < out.size(); ++k) {
            out[k] = std::clamp(out[k], limits.lower[k], limits.upper[k]);
        }
        return out;
    }

private:
    echosieve::GateBasebander<double> basebander_;
    echosieve::detail::GridBounds bounds_;
    std::vector<std::complex<double>> samples_;
    std::vector<double> real_;
    std::vector<double> imag_;
    echosieve::detail::LaneGrid<double> lanes_;
    echosieve::detail::LaneArray<double> residual_;
    echosieve::detail::LaneArray<double> atom_;
};

}  // namespace bench
