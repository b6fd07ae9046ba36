// The fast path for a frame: complex baseband in, echoes out, in memory set up once.
#pragma once

#include <algorithm>
#include <complex>
#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/pursuit/detail/lane_array.hpp"
#include "echosieve/pursuit/detail/lane_atom.hpp"
#include "echosieve/pursuit/detail/lane_basis.hpp"
#include "echosieve/pursuit/detail/lane_frame.hpp"
#include "echosieve/pursuit/detail/lane_polish.hpp"
#include "echosieve/pursuit/detail/lane_scan.hpp"
#include "echosieve/pursuit/engine.hpp"
#include "echosieve/pursuit/fast_options.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve {

// An orthogonal pursuit, as PursuitEngine runs it with EchoSource and GaussNewton, then sweeps in
// which each atom is polished again on what the others leave, and all amplitudes solved for anew.
// What makes it fast: a grid dictionary of a few taps (lane_scan.hpp), sums over many samples at
// once (lane_atom.hpp), a polish that stops at what the noise lets be known (lane_polish.hpp).

/// Decomposes frame after frame of one grid. Not thread-safe: one object a thread. Everything is
/// allocated when it is made: runs allocate nothing, but the first of a copy. For ten atoms on 44
/// samples that is 18 kilobytes in float, 30 in double: within the first-level cache.
template <Real R>
class FastPursuit {
public:
    using Result = PursuitResult<Echo<Gabor<double>>, R>;

    /// Largest energy of a frame: an atom's correlation with it, squared, is still within R.
    static constexpr R most_energy = std::numeric_limits<R>::max() / R{fast_most_samples};

    /// `weights`, each in (0, 1], say how much each sample counts (GateBasebander::weights()): all
    /// energies are sums of weight |sample|^2. None: all count 1.
    /// Throws InvalidInput for an invalid grid, box, option or weight, a grid without samples or
    /// more than fast_most_samples, one too coarse for the box (its rate must be at least twice the
    /// box's bandwidth, and the box's frequencies lie within half of it from the box's centre), or
    /// bandwidths below the rate / fast_most_samples.
    FastPursuit(const SamplingGrid& grid, const GaborBox& box, const FastOptions& options = {},
                std::span<const double> weights = {});

    [[nodiscard]] const SamplingGrid& grid() const noexcept { return grid_; }
    [[nodiscard]] const GaborBox& box() const noexcept { return box_; }
    [[nodiscard]] const FastOptions& options() const noexcept { return options_; }
    /// Atoms of the grid dictionary.
    [[nodiscard]] std::size_t dictionary_size() const noexcept { return scan_.atoms(); }

    /// Decomposes the samples. The result stays valid until the next run. Throws InvalidInput if
    /// their number is not the grid's count, a sample is not finite, or the sum of their squares
    /// exceeds most_energy.
    const Result& run(std::span<const std::complex<R>> samples);
    [[nodiscard]] const Result& result() const noexcept { return result_; }

private:
    [[nodiscard]] PursuitStatus decompose() {
        start_again();
        const R total = result_.signal_energy;
        // Multiplied out first: 64 times the energy of a loud frame overflows float.
        constexpr R rounding =
            64 * std::numeric_limits<R>::epsilon() * std::numeric_limits<R>::epsilon();
        const R small = std::max(rounding, static_cast<R>(options_.stop.residual_fraction)) * total;
        least_gain_ = options_.polish.tolerance * static_cast<double>(total);
        const PursuitStatus status = choose(small);
        for (int k = 0; k < options_.sweeps && !points_.empty(); ++k) {
            fit_back();
            project_anew();
        }
        return status;
    }

    // Again before each run: what is reserved in a vector isn't in its copy.
    void make_room() {
        result_.clear(options_.atoms);
        points_.clear();
        points_.reserve(options_.atoms);
    }

    void start_again() noexcept {
        residual_ = signal_;
        basis_.clear();
        result_.residual_energy.clear();
    }

    // Atom after atom.
    [[nodiscard]] PursuitStatus choose(R small) {
        R energy = result_.signal_energy;
        while (points_.size() < options_.atoms) {
            if (energy <= small) {
                return PursuitStatus::residual_small;
            }
            const std::optional<detail::LanePoint> start = scan_.best(lanes_, residual_);
            if (!start) {
                return PursuitStatus::exhausted;
            }
            detail::LaneArray<R>& atom = atoms_[points_.size()];
            const detail::Polished found =
                detail::polish(bounds_.clamped(*start), lanes_, residual_, bounds_, options_.polish,
                               least_gain_, atom, trial_);
            if (!basis_.orthonormalise(atom)) {
                return PursuitStatus::exhausted;
            }
            const std::complex<R> projection = basis_.project(residual_);
            if (options_.stop.false_alarm &&
                2 * static_cast<double>(std::norm(projection)) <
                    threshold_ * options_.stop.false_alarm->noise_variance) {
                return PursuitStatus::not_significant;
            }
            if (!(std::norm(projection) > 0)) {
                return PursuitStatus::exhausted;
            }
            energy = basis_.take(projection, residual_);
            points_.push_back(found.point);
            result_.residual_energy.push_back(energy);
        }
        return PursuitStatus::atom_count;
    }

    // Each atom polished again on what the others leave of the signal.
    void fit_back() noexcept {
        basis_.solve();
        for (std::size_t k = 0; k < points_.size(); ++k) {
            detail::subtract(-static_cast<std::complex<R>>(basis_.coefficient(k)), atoms_[k],
                             residual_);
            const detail::Polished found =
                detail::polish(points_[k], lanes_, residual_, bounds_, options_.polish, least_gain_,
                               atoms_[k], trial_);
            detail::subtract(static_cast<std::complex<R>>(found.sums.c[0] / found.sums.m[0]),
                             atoms_[k], residual_);
            points_[k] = found.point;
        }
    }

    // The amplitudes of all atoms together, after the atoms have moved.
    void project_anew() noexcept {
        start_again();
        std::size_t kept = 0;
        for (std::size_t k = 0; k < points_.size(); ++k) {
            if (!basis_.orthonormalise(atoms_[k])) {
                continue;  // it has moved onto others, which explain all that it did
            }
            result_.residual_energy.push_back(basis_.take(basis_.project(residual_), residual_));
            points_[kept] = points_[k];
            atoms_[kept++] = atoms_[k];
        }
        points_.resize(kept);
    }

    void write_echoes() noexcept {
        basis_.solve();
        for (std::size_t k = 0; k < points_.size(); ++k) {
            result_.atoms.push_back(frame_.echo(points_[k], basis_.coefficient(k)));
        }
    }

    FastOptions options_;
    SamplingGrid grid_;
    GaborBox box_;
    detail::LaneBounds bounds_;
    detail::LaneGrid<R> lanes_;
    detail::LaneFrame<R> frame_;
    detail::LaneScan<R> scan_;
    detail::LaneArray<R> signal_;
    detail::LaneArray<R> residual_;
    detail::LaneArray<R> trial_;
    std::vector<detail::LaneArray<R>> atoms_;
    detail::LaneBasis<R> basis_;
    double threshold_ = 0;
    double least_gain_ = 0;
    std::vector<detail::LanePoint> points_;
    Result result_;
};

// Out of the class, and so not inline: a compiled library can hold them (compiled.hpp).

template <Real R>
FastPursuit<R>::FastPursuit(const SamplingGrid& grid, const GaborBox& box,
                            const FastOptions& options, std::span<const double> weights)
    : options_((detail::validate_fast(grid, box), validate(options), options)),
      grid_(grid),
      box_(box),
      bounds_(detail::lane_bounds(grid, box)),
      lanes_(detail::sample_factors<R>(grid, weights)),
      frame_(grid, box, detail::sample_factors<R>(grid, weights)),
      scan_(lanes_, bounds_),
      signal_(lanes_.stored()),
      residual_(signal_),
      trial_(signal_),
      atoms_(options.atoms, signal_),
      basis_(lanes_.stored(), options.atoms) {
    if (options.stop.false_alarm) {
        threshold_ = false_alarm_threshold(box, options.stop.false_alarm->probability);
    }
    make_room();
}

template <Real R>
auto FastPursuit<R>::run(std::span<const std::complex<R>> samples) -> const Result& {
    make_room();
    basis_.clear();
    frame_.load(samples, signal_);
    result_.signal_energy = detail::energy(signal_);
    if (!(result_.signal_energy <= most_energy)) {
        require(false, "signal energy", result_.signal_energy,
                detail::concatenate("must be at most ", most_energy,
                                    ": NaN or infinity among the samples, or scale them down"));
    }
    result_.status = result_.signal_energy > 0 ? decompose() : PursuitStatus::silent;
    write_echoes();
    return result_;
}

}  // namespace echosieve
