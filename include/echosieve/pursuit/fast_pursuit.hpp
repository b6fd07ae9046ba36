// The fast path: frames of complex baseband in, echoes out, in memory set up once.
#pragma once

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
#include "echosieve/core/recording.hpp"
#include "echosieve/core/threads.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/pursuit/detail/atom_steps.hpp"
#include "echosieve/pursuit/detail/fast_setup.hpp"
#include "echosieve/pursuit/detail/lane_array.hpp"
#include "echosieve/pursuit/detail/lane_atom.hpp"
#include "echosieve/pursuit/detail/lane_basis.hpp"
#include "echosieve/pursuit/detail/lane_frame.hpp"
#include "echosieve/pursuit/detail/lane_polish.hpp"
#include "echosieve/pursuit/detail/lane_scan.hpp"
#include "echosieve/pursuit/detail/pursuit_loop.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve {

/// How an atom is polished.
struct PolishOptions {
    int evaluations = 3;      ///< of an atom's sums at most, the first included
    double tolerance = 3e-7;  ///< a step that promises less than this part of the frame's energy
                              ///< is not taken: for a lone echo at 20 dB, 1 MHz and 125 MHz it is
                              ///< a tenth of the Cramer-Rao bound
};

inline void validate(const PolishOptions& options) {
    require(options.evaluations >= 1, "evaluations", options.evaluations, "must be one or more");
    require(options.tolerance >= 0 && is_finite(options.tolerance), "tolerance", options.tolerance,
            "must be zero or more and finite");
}

/// With the default options a lone echo at 20 dB is within 0.04 of the Cramer-Rao bound of the
/// converged fit: three evaluations when it is chosen, three in the sweep. More evaluations or
/// sweeps explain a little more of crowded frames: a second sweep 0.05 % of the energy, for a third
/// of the time.
struct FastOptions {
    std::size_t atoms = 10;  ///< at most
    PolishOptions polish;    ///< of each atom, when it is chosen and in each sweep
    int sweeps = 1;          ///< over all atoms: each polished again on what the others leave
    Stop stop;
};

inline void validate(const FastOptions& options) {
    detail::validate_fast(options.atoms);
    validate(options.polish);
    require(options.sweeps >= 0, "sweeps", options.sweeps, "must be zero or more");
    validate(options.stop);
}

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
    // Again before each run: what is reserved in a vector isn't in its copy.
    void make_room() {
        result_.clear(options_.atoms);
        points_.clear();
        points_.reserve(options_.atoms);
    }

    [[nodiscard]] PursuitStatus decompose() {
        const R total = result_.signal_energy;
        steps_.least_gain = options_.polish.tolerance * static_cast<double>(total);
        detail::LanePoint point;
        const auto next = [&](std::size_t n) -> std::optional<R> {
            const std::optional<detail::LanePoint> start = scan_.best(lanes_, basis_.residual());
            if (!start) {
                return std::nullopt;
            }
            point = polished(steps_.bounds.clamped(*start), atoms_[n]).point;
            return basis_.admit(atoms_[n]);
        };
        const auto keep = [&](R energy) {
            points_.push_back(point);
            result_.residual_energy.push_back(energy);
        };
        const PursuitStatus status = detail::choose_atoms(
            detail::stop_rule<std::complex<R>>(options_.stop, options_.atoms, total, threshold_),
            basis_, next, keep);
        for (int k = 0; k < options_.sweeps && !points_.empty(); ++k) {
            fit_back();
            project_anew();
        }
        return status;
    }

    [[nodiscard]] detail::Polished polished(const detail::LanePoint& start,
                                            detail::LaneArray<R>& atom) noexcept {
        return detail::polish(start, lanes_, steps_,
                              detail::PolishMemory<R>{basis_.residual(), atom, trial_});
    }

    // Each atom polished again on what the others leave of the signal.
    void fit_back() noexcept {
        basis_.solve();
        for (std::size_t k = 0; k < points_.size(); ++k) {
            detail::subtract(-static_cast<std::complex<R>>(basis_.coefficient(k)), atoms_[k],
                             basis_.residual());
            const detail::Polished found = polished(points_[k], atoms_[k]);
            detail::subtract(static_cast<std::complex<R>>(found.sums.amplitude()), atoms_[k],
                             basis_.residual());
            points_[k] = found.point;
        }
    }

    // The amplitudes of all atoms together, after the atoms have moved.
    void project_anew() noexcept {
        basis_.start(signal_);
        result_.residual_energy.clear();
        std::size_t kept = 0;
        for (std::size_t k = 0; k < points_.size(); ++k) {
            if (!basis_.admit(atoms_[k])) {
                continue;  // it has moved onto others, which explain all that it did
            }
            result_.residual_energy.push_back(basis_.take());
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
    detail::AtomSteps steps_;
    detail::LaneGrid<R> lanes_;
    detail::LaneFrame<R> frame_;
    detail::LaneScan<R> scan_;
    detail::LaneArray<R> signal_;
    detail::LaneArray<R> trial_;
    std::vector<detail::LaneArray<R>> atoms_;
    detail::LaneBasis<R> basis_;
    double threshold_ = 0;
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
      steps_{detail::grid_bounds(grid, box), options.polish.evaluations - 1},
      lanes_(detail::sample_factors<R>(grid, weights)),
      frame_(grid, box, detail::sample_factors<R>(grid, weights)),
      scan_(lanes_, steps_.bounds),
      signal_(lanes_.stored()),
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
    frame_.load(samples, signal_);
    basis_.start(signal_);
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

/// Decomposes frames of complex baseband, such as gates_to_baseband() makes of raw ones (row i is
/// frame i), each as `pursuit.run` would. `pursuit` is left as it is: each of the `threads` threads
/// works with a copy. The results have the same bits on any number of threads. Throws as
/// FastPursuit::run does, for the first frame that it refuses, and as for_each_part does.
template <Real R>
[[nodiscard]] std::vector<typename FastPursuit<R>::Result> pursue_frames(
    const FrameView<std::complex<R>>& frames, const FastPursuit<R>& pursuit,
    std::size_t threads = 1) {
    std::vector<typename FastPursuit<R>::Result> results(frames.frames());
    for_each_part(frames.frames(), threads, [&](std::size_t first, std::size_t end) {
        FastPursuit<R> own(pursuit);
        for (std::size_t i = first; i < end; ++i) {
            results[i] = own.run(frames[i]);
        }
    });
    return results;
}

}  // namespace echosieve
