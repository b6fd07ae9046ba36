// Takes a signal apart atom by atom, greedily or orthogonally, from any source of atoms: in one
// call, or frame after frame in the same memory.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/detail/signal.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/dictionary/matrix_dictionary.hpp"
#include "echosieve/pursuit/detail/dense_basis.hpp"
#include "echosieve/pursuit/detail/pursuit_loop.hpp"
#include "echosieve/pursuit/echo_source.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve {

// Symbols
//   f signal;  R^n residual after n atoms;  C the columns (one, or two for a real echo) of the next
//   atom Q orthonormal basis of what the atom adds;  captured energy = ||Q^H R^n||^2
//
// Greedy (Mallat and Zhang 1993): Q spans C alone.  Orthogonal (Pati, Rezaiifar and Krishnaprasad
// 1993): Q spans C made orthogonal to all columns before. In either case R^{n+1} = R^n - Q Q^H R^n,
// so the energies balance at every step: ||R^n||^2 = captured + ||R^{n+1}||^2.

/// Subtracts each atom's own projection and never looks back; the same atom may be chosen again.
struct Greedy {
    std::size_t atoms = 10;
    static constexpr bool orthogonal = false;
};

/// Projects on all atoms chosen so far; the coefficients are those of the joint least-squares fit.
struct Orthogonal {
    std::size_t atoms = 10;
    static constexpr bool orthogonal = true;
};

template <class S>
concept PursuitStrategy = requires(const S& strategy) {
    { strategy.atoms } -> std::convertible_to<std::size_t>;
    { S::orthogonal } -> std::convertible_to<bool>;
};

template <class S>
using SourceVector = Eigen::Matrix<typename S::sample_type, Eigen::Dynamic, 1>;
template <class S>
using SourceMatrix = Eigen::Matrix<typename S::sample_type, Eigen::Dynamic, Eigen::Dynamic>;

/// Where atoms come from: proposes the best atom for a residual, writes its columns, and makes the
/// element of the result from its coefficients.
template <class S>
concept AtomSource =
    Sample<typename S::sample_type> &&
    requires(S& source, const SourceVector<S>& residual, std::size_t round,
             const typename S::choice_type& choice, Eigen::Block<SourceMatrix<S>> columns,
             std::span<const typename S::sample_type> coefficients) {
        { S::columns_per_atom } -> std::convertible_to<Eigen::Index>;
        { source.samples() } -> std::convertible_to<Eigen::Index>;
        { source.propose(residual, round) } -> std::same_as<std::optional<typename S::choice_type>>;
        source.write(choice, columns);
        { source.element(choice, coefficients) } -> std::same_as<typename S::element_type>;
        { source.false_alarm_threshold(0.01) } -> std::convertible_to<double>;
    };

/// Runs pursuits of one size again and again in the same memory. Not thread-safe: one object a
/// thread. The first run sets the memory up; later runs of the same size and strategy into the same
/// result allocate nothing, unless the source does or a greedy run takes more atoms than samples.
template <AtomSource Source>
class PursuitEngine {
public:
    using T = typename Source::sample_type;
    using R = RealOf<T>;
    using Result = PursuitResult<typename Source::element_type, R>;

    /// Decomposes `signal` into `result`, whose memory is reused. Throws InvalidInput if the
    /// signal's size is not source.samples(), a sample or the sum of their squares is not finite,
    /// or the options are outside their domain.
    template <PursuitStrategy Strategy>
    void run(std::span<const T> signal, Source& source, const Strategy& strategy, const Stop& stop,
             Result& result) {
        validate(stop);
        const Eigen::Index samples = source.samples();
        if (static_cast<Eigen::Index>(signal.size()) != samples) {  // no text is made in a good run
            require(false, "number of samples", signal.size(),
                    detail::concatenate("must be the source's, ", samples));
        }
        prepare<Strategy>(samples, strategy.atoms, result);
        basis_.start(
            Eigen::Map<const typename detail::DenseBasis<T>::Vector>(signal.data(), samples));
        require(basis_.residual().allFinite(), "signal", "NaN or infinity",
                "every sample must be finite");
        result.signal_energy = basis_.residual().squaredNorm();
        require(is_finite(result.signal_energy), "signal energy", result.signal_energy,
                "must be finite: scale the signal down");
        result.status = result.signal_energy > 0
                            ? choose<Strategy>(source, strategy.atoms, stop, result)
                            : PursuitStatus::silent;
        if constexpr (Strategy::orthogonal) {
            coefficients_.resize(choices_.size() * width);
            basis_.solve(coefficients_.data());
        }
        for (std::size_t n = 0; n < choices_.size(); ++n) {
            result.atoms.push_back(source.element(
                choices_[n], std::span<const T>(coefficients_).subspan(n * width, width)));
        }
    }

    /// What the atoms of the last run leave.
    [[nodiscard]] std::span<const T> residual() const noexcept {
        return {basis_.residual().data(), static_cast<std::size_t>(basis_.residual().size())};
    }

private:
    static constexpr std::size_t width = static_cast<std::size_t>(Source::columns_per_atom);

    // Orthogonal columns can't outnumber the samples; a greedy step needs those of one atom only.
    template <class Strategy>
    void prepare(Eigen::Index samples, std::size_t atoms, Result& result) {
        const std::size_t most = std::min(atoms, static_cast<std::size_t>(samples));
        basis_.make_room(
            samples, static_cast<Eigen::Index>(
                         Strategy::orthogonal
                             ? std::min(atoms, static_cast<std::size_t>(samples) / width) * width
                             : width));
        choices_.clear();
        choices_.reserve(most);
        coefficients_.clear();
        coefficients_.reserve(most * width);
        result.clear(most);
    }

    template <class Strategy>
    PursuitStatus choose(Source& source, std::size_t atoms, const Stop& stop, Result& result) {
        const double threshold =
            stop.false_alarm ? source.false_alarm_threshold(stop.false_alarm->probability) : 0;
        std::optional<typename Source::choice_type> choice;
        const auto next = [&](std::size_t n) -> std::optional<R> {
            if constexpr (!Strategy::orthogonal) {
                basis_.forget();
            }
            choice = source.propose(basis_.residual(), n);
            return choice ? basis_.admit(Source::columns_per_atom,
                                         [&](auto&& columns) { source.write(*choice, columns); })
                          : std::nullopt;
        };
        const auto keep = [&](R energy) {
            if constexpr (!Strategy::orthogonal) {
                coefficients_.resize(coefficients_.size() + width);
                basis_.solve(coefficients_.data() + coefficients_.size() - width);
            }
            choices_.push_back(*choice);
            result.residual_energy.push_back(energy);
        };
        return detail::choose_atoms(
            detail::stop_rule<T>(stop, atoms, result.signal_energy, threshold), basis_, next, keep);
    }

    detail::DenseBasis<T> basis_;
    std::vector<T> coefficients_;
    std::vector<typename Source::choice_type> choices_;
};

/// What a pursuit of Gabor echoes gives.
template <Real R>
using EchoPursuit = PursuitResult<Echo<Gabor<R>>, R>;

/// Takes a signal apart into Gabor echoes of the box. `refinement` is NoRefinement, GaussNewton or
/// any optimiser (Swarm{.particles = 50}, or your own); the seed serves those that draw random
/// numbers. Throws InvalidInput for an invalid signal, box or option. For many frames of one size
/// use EchoSource and PursuitEngine themselves, which keep their memory.
template <Sample T, PursuitStrategy Strategy, Refinement Refine = GaussNewton>
[[nodiscard]] EchoPursuit<RealOf<T>> pursue(const Signal<T>& signal, const GaborBox& box,
                                            const Strategy& strategy, const Refine& refinement = {},
                                            std::uint64_t seed = 0, const Stop& stop = {}) {
    validate(signal);
    EchoSource<T, Refine> source(signal.grid, box, refinement, seed);
    PursuitEngine<EchoSource<T, Refine>> engine;
    EchoPursuit<RealOf<T>> result;
    engine.run(signal.samples, source, strategy, stop, result);
    return result;
}

/// Takes a signal apart into columns of a matrix dictionary.
template <Sample T, PursuitStrategy Strategy>
[[nodiscard]] PursuitResult<MatrixTerm<T>, RealOf<T>> pursue(std::span<const T> signal,
                                                             MatrixDictionary<T>& dictionary,
                                                             const Strategy& strategy,
                                                             const Stop& stop = {}) {
    PursuitEngine<MatrixDictionary<T>> engine;
    PursuitResult<MatrixTerm<T>, RealOf<T>> result;
    engine.run(signal, dictionary, strategy, stop, result);
    return result;
}

}  // namespace echosieve
