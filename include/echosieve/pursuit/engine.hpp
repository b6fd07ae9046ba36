// The pursuit engine: takes a signal apart atom by atom, greedily or orthogonally, from any source
// of atoms.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <concepts>
#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <vector>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
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

template <class Element, Real R>
struct PursuitResult {
    PursuitStatus status = PursuitStatus::not_run;
    std::vector<Element> atoms;      ///< in the order of their choice
    R signal_energy = 0;             ///< sum of |sample|^2
    std::vector<R> residual_energy;  ///< after each atom

    /// Empties it, with room for `most` atoms: adding as many then allocates nothing.
    void clear(std::size_t most) {
        status = PursuitStatus::not_run;
        atoms.clear();
        atoms.reserve(most);
        signal_energy = 0;
        residual_energy.clear();
        residual_energy.reserve(most);
    }
    [[nodiscard]] bool usable() const noexcept {
        return status != PursuitStatus::not_run && !atoms.empty();
    }
    /// Part of the signal's energy that the atoms explain, 0 to 1.
    [[nodiscard]] R explained() const noexcept {
        return residual_energy.empty() || !(signal_energy > 0)
                   ? R{0}
                   : 1 - residual_energy.back() / signal_energy;
    }
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
    using Vector = Eigen::Matrix<T, Eigen::Dynamic, 1>;
    using Matrix = Eigen::Matrix<T, Eigen::Dynamic, Eigen::Dynamic>;

    /// Below this part of its own norm, what a column adds to those before it is rounding.
    static constexpr R dependence = 1e4 * std::numeric_limits<R>::epsilon();

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
        residual_ = Eigen::Map<const Vector>(signal.data(), samples);
        require(residual_.allFinite(), "signal", "NaN or infinity", "every sample must be finite");
        result.signal_energy = residual_.squaredNorm();
        require(is_finite(result.signal_energy), "signal energy", result.signal_energy,
                "must be finite: scale the signal down");
        result.status = result.signal_energy > 0
                            ? loop<Strategy>(source, strategy.atoms, stop, result)
                            : PursuitStatus::silent;
        if constexpr (Strategy::orthogonal) {
            coefficients_.resize(choices_.size() * width);
            solve(static_cast<Eigen::Index>(coefficients_.size()), coefficients_.data());
        }
        for (std::size_t n = 0; n < choices_.size(); ++n) {
            result.atoms.push_back(source.element(
                choices_[n], std::span<const T>(coefficients_).subspan(n * width, width)));
        }
    }

    /// What the atoms of the last run leave.
    [[nodiscard]] std::span<const T> residual() const noexcept {
        return {residual_.data(), static_cast<std::size_t>(residual_.size())};
    }

private:
    static constexpr std::size_t width = static_cast<std::size_t>(Source::columns_per_atom);

    // Orthogonal columns can't outnumber the samples; a greedy step needs those of one atom only.
    template <class Strategy>
    void prepare(Eigen::Index samples, std::size_t atoms, Result& result) {
        const std::size_t most = std::min(atoms, static_cast<std::size_t>(samples));
        const auto columns = static_cast<Eigen::Index>(
            Strategy::orthogonal
                ? std::min(atoms, static_cast<std::size_t>(samples) / width) * width
                : width);
        if (basis_.rows() != samples || basis_.cols() < columns) {
            basis_.resize(samples, columns);
            residual_.resize(samples);
            triangle_.setZero(columns, columns);
            projections_.resize(columns);
        }
        choices_.clear();
        choices_.reserve(most);
        coefficients_.clear();
        coefficients_.reserve(most * width);
        result.clear(most);
    }

    template <class Strategy>
    PursuitStatus loop(Source& source, std::size_t atoms, const Stop& stop, Result& result) {
        constexpr Eigen::Index block = Source::columns_per_atom;
        // Projections of a few atoms can't be trusted below this.
        const R rounding = result.signal_energy * std::numeric_limits<R>::epsilon() *
                           std::numeric_limits<R>::epsilon() * 64;
        R energy = result.signal_energy;
        const double threshold =
            stop.false_alarm ? source.false_alarm_threshold(stop.false_alarm->probability) : 0;
        while (choices_.size() < atoms) {
            if (energy <= static_cast<R>(stop.residual_fraction) * result.signal_energy ||
                energy <= rounding) {
                return PursuitStatus::residual_small;
            }
            const auto choice = source.propose(residual_, choices_.size());
            if (!choice) {
                return PursuitStatus::exhausted;
            }
            const Eigen::Index first =
                Strategy::orthogonal ? static_cast<Eigen::Index>(choices_.size()) * block : 0;
            if (first + block > basis_.cols()) {
                return PursuitStatus::exhausted;
            }
            source.write(*choice, basis_.middleCols(first, block));
            R captured = 0;
            for (Eigen::Index k = first; k < first + block; ++k) {
                if (!orthonormalise(k)) {
                    return PursuitStatus::exhausted;
                }
                projections_[k] = basis_.col(k).dot(residual_);
                captured += Eigen::numext::abs2(projections_[k]);
            }
            if (stop.false_alarm && significance(static_cast<double>(captured),
                                                 stop.false_alarm->noise_variance) < threshold) {
                return PursuitStatus::not_significant;
            }
            if (!(captured > 0)) {
                return PursuitStatus::exhausted;
            }
            for (Eigen::Index k = first; k < first + block; ++k) {
                residual_.noalias() -= projections_[k] * basis_.col(k);
            }
            energy = residual_.squaredNorm();
            if constexpr (!Strategy::orthogonal) {
                coefficients_.resize(coefficients_.size() + width);
                solve(block, coefficients_.data() + coefficients_.size() - width);
            }
            choices_.push_back(*choice);
            result.residual_energy.push_back(energy);
        }
        return PursuitStatus::atom_count;
    }

    // T = energy over the variance of one real component.
    static double significance(double captured, double variance) noexcept {
        return (is_complex<T> ? 2 : 1) * captured / variance;
    }

    // Makes column k orthogonal to the columns 0 .. k-1, twice (Giraud and others 2005: twice is
    // enough), and of unit norm; the multipliers go to the triangle. False if nothing but rounding
    // is left of it.
    bool orthonormalise(Eigen::Index k) {
        const R before = basis_.col(k).norm();
        triangle_.col(k).setZero();
        for (int pass = 0; pass < 2; ++pass) {
            for (Eigen::Index j = 0; j < k; ++j) {
                const T product = basis_.col(j).dot(basis_.col(k));
                triangle_(j, k) += product;
                basis_.col(k) -= product * basis_.col(j);
            }
        }
        const R after = basis_.col(k).norm();
        if (!(after > dependence * before)) {
            return false;
        }
        triangle_(k, k) = after;
        basis_.col(k) /= after;
        return true;
    }

    // Coefficients of the columns 0 .. count - 1 themselves, by back substitution.
    void solve(Eigen::Index count, T* out) const {
        for (Eigen::Index k = count - 1; k >= 0; --k) {
            T sum = projections_[k];
            for (Eigen::Index j = k + 1; j < count; ++j) {
                sum -= triangle_(k, j) * out[j];
            }
            out[k] = sum / triangle_(k, k);
        }
    }

    Matrix basis_;
    Matrix triangle_;
    Vector residual_;
    Vector projections_;
    std::vector<T> coefficients_;
    std::vector<typename Source::choice_type> choices_;
};

}  // namespace echosieve
