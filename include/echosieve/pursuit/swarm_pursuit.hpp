// A pursuit whose echoes a particle swarm finds, a vector lane a particle.
#pragma once

#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/instruction_set.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/kernels/detail/echo_swarm.hpp"
#include "echosieve/pursuit/detail/atom_steps.hpp"
#include "echosieve/pursuit/detail/fast_setup.hpp"
#include "echosieve/pursuit/detail/lane_array.hpp"
#include "echosieve/pursuit/detail/lane_atom.hpp"
#include "echosieve/pursuit/detail/lane_basis.hpp"
#include "echosieve/pursuit/detail/lane_frame.hpp"
#include "echosieve/pursuit/detail/pursuit_loop.hpp"
#include "echosieve/pursuit/stop.hpp"

// The swarm is compiled: link echosieve::kernels.

namespace echosieve {

struct SwarmPursuitOptions {
    std::size_t atoms = 10;  ///< at most
    EchoSwarmOptions swarm;
    Stop stop;
};

inline void validate(const SwarmPursuitOptions& options) {
    detail::validate_fast(options.atoms);
    validate(options.swarm);
    validate(options.stop);
}

namespace detail {

/// The box as a swarm takes it, rotations counted from the box's centre.
[[nodiscard]] inline EchoSwarmBounds swarm_bounds(const SamplingGrid& grid,
                                                  const GaborBox& box) noexcept {
    const GridBounds b = grid_bounds(grid, box);
    return {{b.arrival.lower, b.arrival.upper},
            {b.rotation.lower, b.rotation.upper},
            {std::sqrt(b.decay.lower), std::sqrt(b.decay.upper)}};
}

}  // namespace detail

/// Decomposes frame after frame of one grid as Greedy does: echo after echo, each the best that a
/// swarm (kernels/detail/echo_swarm.hpp) finds on what the others left, its amplitude and phase by
/// projection, and none looked at again. FastPursuit explains more in less time; this one is for
/// those who want, or want to compare with, a swarm.
///
/// The swarm computes in float, residual and amplitudes in double. Not thread-safe: one object a
/// thread. Everything is allocated when it is made: runs allocate nothing, but the first of a copy.
template <Real R>
class SwarmPursuit {
public:
    using Result = PursuitResult<Echo<Gabor<double>>, R>;

    /// `weights` as in FastPursuit. Throws InvalidInput as that does, or for bandwidths that differ
    /// by more than a factor of 4 or are below 0.0053 of the rate, arrivals further outside the
    /// grid than 5 / sqrt(decay), or an instruction set that is not available.
    SwarmPursuit(const SamplingGrid& grid, const GaborBox& box,
                 const SwarmPursuitOptions& options = {}, std::span<const double> weights = {},
                 InstructionSet set = default_instruction_set())
        : options_((detail::validate_fast(grid, box), validate(options), options)),
          grid_(grid),
          box_(box),
          factors_(detail::sample_factors<double>(grid, weights)),
          lanes_(factors_),
          frame_(grid, box, factors_),
          swarm_(squared(factors_), detail::swarm_bounds(grid, box), options.swarm, set),
          basis_(lanes_.stored(), 1),
          signal_(lanes_.stored()),
          weighted_(signal_),
          atom_(signal_) {
        if (options.stop.false_alarm) {
            threshold_ = false_alarm_threshold(box, options.stop.false_alarm->probability);
        }
        result_.clear(options.atoms);
    }

    [[nodiscard]] const SamplingGrid& grid() const noexcept { return grid_; }
    [[nodiscard]] const GaborBox& box() const noexcept { return box_; }
    [[nodiscard]] const SwarmPursuitOptions& options() const noexcept { return options_; }
    [[nodiscard]] InstructionSet instruction_set() const noexcept {
        return swarm_.instruction_set();
    }

    /// Decomposes the samples. The same seed and frame number give the same bits, whatever ran
    /// before and with whatever instruction set the swarm runs. The result stays valid until the
    /// next run. Throws InvalidInput if the number of samples is not the grid's count, or a sample
    /// or the sum of their squares is not finite.
    const Result& run(std::span<const std::complex<R>> samples, std::uint64_t seed,
                      std::uint64_t frame = 0) {
        result_.clear(options_.atoms);
        frame_.load(samples, signal_);
        const double energy = detail::energy(signal_);
        result_.signal_energy = static_cast<R>(energy);
        require(is_finite(result_.signal_energy), "signal energy", energy,
                "must be finite: NaN or infinity among the samples, or scale them down");
        swarm_.seed(seed, frame);
        basis_.start(signal_);
        result_.status = energy > 0 ? decompose(energy) : PursuitStatus::silent;
        return result_;
    }
    [[nodiscard]] const Result& result() const noexcept { return result_; }

private:
    [[nodiscard]] static std::vector<double> squared(std::vector<double> x) {
        for (double& value : x) {
            value *= value;
        }
        return x;
    }

    [[nodiscard]] PursuitStatus decompose(double signal) {
        detail::LanePoint point;
        const auto next = [&](std::size_t) {
            point = best_of_residual();
            static_cast<void>(lanes_.moments(point, basis_.residual(), atom_));
            basis_.forget();
            return basis_.admit(atom_);
        };
        const auto keep = [&](double energy) {
            basis_.solve();
            result_.atoms.push_back(frame_.echo(point, basis_.coefficient(0)));
            result_.residual_energy.push_back(static_cast<R>(energy));
        };
        // Taking echoes out leaves rounding of the samples, which are R, and of the swarm's float.
        return detail::choose_atoms(
            detail::stop_rule<std::complex<R>>(options_.stop, options_.atoms, signal, threshold_),
            basis_, next, keep);
    }

    [[nodiscard]] detail::LanePoint best_of_residual() {
        const detail::LaneArray<double>& residual = basis_.residual();
        for (std::size_t n = 0; n < grid_.count; ++n) {
            weighted_.real()[n] = factors_[n] * residual.real()[n];
            weighted_.imag()[n] = factors_[n] * residual.imag()[n];
        }
        const EchoSwarmPoint found =
            swarm_.search({weighted_.real(), grid_.count}, {weighted_.imag(), grid_.count});
        return {found.arrival, found.rotation, found.root_decay * found.root_decay};
    }

    SwarmPursuitOptions options_;
    SamplingGrid grid_;
    GaborBox box_;
    std::vector<double> factors_;
    detail::LaneGrid<double> lanes_;
    detail::LaneFrame<double> frame_;
    EchoSwarm swarm_;
    detail::LaneBasis<double> basis_;
    detail::LaneArray<double> signal_;
    detail::LaneArray<double> weighted_;
    detail::LaneArray<double> atom_;
    double threshold_ = 0;
    Result result_;
};

}  // namespace echosieve
