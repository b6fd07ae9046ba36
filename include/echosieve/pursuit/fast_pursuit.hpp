// The fast path: frames of complex baseband in, echoes out, in memory set up once.
#pragma once

#include <complex>
#include <cstddef>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/instruction_set.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/core/threads.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/pursuit/detail/atom_steps.hpp"
#include "echosieve/pursuit/detail/fast_setup.hpp"
#include "echosieve/pursuit/detail/lane_frame.hpp"
#include "echosieve/pursuit/detail/lane_pursuit.hpp"
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
// once (lane_atom.hpp), a polish that stops at what the noise lets be known (lane_polish.hpp), all
// of it a kernel: link echosieve::kernels.

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
    /// bandwidths below the rate / fast_most_samples, or for an instruction set that is not
    /// available. The sets round differently, each always in the same way.
    FastPursuit(const SamplingGrid& grid, const GaborBox& box, const FastOptions& options = {},
                std::span<const double> weights = {},
                InstructionSet set = default_instruction_set());

    [[nodiscard]] const SamplingGrid& grid() const noexcept { return grid_; }
    [[nodiscard]] const GaborBox& box() const noexcept { return box_; }
    [[nodiscard]] const FastOptions& options() const noexcept { return options_; }
    [[nodiscard]] InstructionSet instruction_set() const noexcept { return set_; }
    /// Atoms of the grid dictionary.
    [[nodiscard]] std::size_t dictionary_size() const noexcept { return lanes_.dictionary_size(); }

    /// Decomposes the samples. The result stays valid until the next run. Throws InvalidInput if
    /// their number is not the grid's count, a sample is not finite, or the sum of their squares
    /// exceeds most_energy.
    const Result& run(std::span<const std::complex<R>> samples);
    [[nodiscard]] const Result& result() const noexcept { return result_; }

private:
    FastOptions options_;
    SamplingGrid grid_;
    GaborBox box_;
    InstructionSet set_;
    detail::LaneFrame<R> frame_;
    detail::LanePursuit<R> lanes_;
    double threshold_ = 0;
    Result result_;
};

// Out of the class, and so not inline: a compiled library can hold them (compiled.hpp).

template <Real R>
FastPursuit<R>::FastPursuit(const SamplingGrid& grid, const GaborBox& box,
                            const FastOptions& options, std::span<const double> weights,
                            InstructionSet set)
    : options_((detail::validate_fast(grid, box), validate(options), validate(set), options)),
      grid_(grid),
      box_(box),
      set_(set),
      frame_(grid, box, detail::sample_factors<R>(grid, weights)),
      lanes_(detail::sample_factors<R>(grid, weights),
             {{detail::grid_bounds(grid, box), options.polish.evaluations - 1},
              options.atoms,
              options.sweeps,
              options.polish.tolerance}) {
    if (options.stop.false_alarm) {
        threshold_ = false_alarm_threshold(box, options.stop.false_alarm->probability);
    }
    result_.clear(options.atoms);
}

template <Real R>
auto FastPursuit<R>::run(std::span<const std::complex<R>> samples) -> const Result& {
    result_.clear(options_.atoms);
    lanes_.clear();
    frame_.load(samples, lanes_.signal());
    const R energy = detail::energy(lanes_.signal());
    result_.signal_energy = energy;
    if (!(energy <= most_energy)) {
        require(false, "signal energy", energy,
                detail::concatenate("must be at most ", most_energy,
                                    ": NaN or infinity among the samples, or scale them down"));
    }
    if (energy > 0) {
        detail::run_lane_pursuit(
            lanes_,
            detail::stop_rule<std::complex<R>>(options_.stop, options_.atoms, energy, threshold_),
            set_);
    }
    result_.status = lanes_.status();
    for (std::size_t k = 0; k < lanes_.size(); ++k) {
        result_.atoms.push_back(frame_.echo(lanes_.point(k), lanes_.amplitude(k)));
        result_.residual_energy.push_back(lanes_.residual_energy(k));
    }
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
