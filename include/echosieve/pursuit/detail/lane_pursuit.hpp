// The fast path in units of the grid: a gate's samples in, the atoms' places and amplitudes out.
#pragma once

#include <complex>
#include <cstddef>
#include <optional>
#include <vector>

#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/instruction_set.hpp"
#include "echosieve/pursuit/detail/atom_steps.hpp"
#include "echosieve/pursuit/detail/lane_array.hpp"
#include "echosieve/pursuit/detail/lane_atom.hpp"
#include "echosieve/pursuit/detail/lane_basis.hpp"
#include "echosieve/pursuit/detail/lane_polish.hpp"
#include "echosieve/pursuit/detail/lane_scan.hpp"
#include "echosieve/pursuit/detail/pursuit_loop.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve::detail {

/// FastPursuit without its frame. It is laid out alike whatever the lanes are: a user's file makes
/// it, a kernel works on it (run_lane_pursuit).
template <Real R>
class LanePursuit {
public:
    struct Setup {
        AtomSteps steps;    ///< of each atom; the least gain is seen to
        std::size_t atoms;  ///< at most
        int sweeps;         ///< over all atoms
        double tolerance;   ///< of a step, as part of the frame's energy
    };

    LanePursuit(const std::vector<R>& factors, const Setup& setup)
        : setup_(setup),
          lanes_(factors),
          scan_(lanes_, setup.steps.bounds),
          signal_(factors.size()),
          trial_(signal_),
          atoms_(setup.atoms, signal_),
          basis_(factors.size(), setup.atoms),
          points_(setup.atoms),
          energies_(setup.atoms) {}

    [[nodiscard]] std::size_t dictionary_size() const noexcept { return scan_.atoms(); }
    /// To be filled before a run.
    [[nodiscard]] LaneArray<R>& signal() noexcept { return signal_; }

    /// What the last run found.
    [[nodiscard]] PursuitStatus status() const noexcept { return status_; }
    [[nodiscard]] std::size_t size() const noexcept { return size_; }
    [[nodiscard]] const LanePoint& point(std::size_t k) const noexcept { return points_[k]; }
    [[nodiscard]] const std::complex<double>& amplitude(std::size_t k) const noexcept {
        return basis_.coefficient(k);
    }
    /// Energy left after atom k.
    [[nodiscard]] R residual_energy(std::size_t k) const noexcept { return energies_[k]; }

    void clear() noexcept {
        size_ = 0;
        status_ = PursuitStatus::silent;
    }

    /// Takes the signal apart in lanes L.
    template <class L>
    void run(const StopRule<R>& stop) noexcept {
        setup_.steps.least_gain = setup_.tolerance * static_cast<double>(stop.whole);
        basis_.start(signal_);
        size_ = 0;
        const auto next = [&](std::size_t n) -> std::optional<R> {
            const std::optional<LanePoint> start =
                scan_.template best<L>(lanes_, basis_.residual());
            if (!start) {
                return std::nullopt;
            }
            points_[n] = polished<L>(setup_.steps.bounds.clamped(*start), atoms_[n]).point;
            return basis_.template admit<L>(atoms_[n]);
        };
        InLanes<L> basis{basis_};
        status_ = choose_atoms(stop, basis, next, [&](R energy) { energies_[size_++] = energy; });
        for (int k = 0; k < setup_.sweeps && size_ > 0; ++k) {
            fit_back<L>();
            project_anew<L>();
        }
        basis_.template solve<L>();
    }

private:
    // The basis as the loop of all pursuits wants it.
    template <class L>
    struct InLanes {
        LaneBasis<R>& basis;
        R take() noexcept { return basis.template take<L>(); }
    };

    template <class L>
    [[nodiscard]] Polished polished(const LanePoint& start, LaneArray<R>& atom) noexcept {
        return polish<R, L>(start, lanes_, setup_.steps,
                            PolishMemory<R>{basis_.residual(), atom, trial_});
    }

    // Each atom polished again on what the others leave of the signal.
    template <class L>
    void fit_back() noexcept {
        basis_.template solve<L>();
        for (std::size_t k = 0; k < size_; ++k) {
            subtract<R, L>(-static_cast<std::complex<R>>(basis_.coefficient(k)), atoms_[k],
                           basis_.residual());
            const Polished found = polished<L>(points_[k], atoms_[k]);
            subtract<R, L>(static_cast<std::complex<R>>(found.sums.amplitude()), atoms_[k],
                           basis_.residual());
            points_[k] = found.point;
        }
    }

    // The amplitudes of all atoms together, after the atoms have moved.
    template <class L>
    void project_anew() noexcept {
        basis_.start(signal_);
        const std::size_t all = size_;
        size_ = 0;
        for (std::size_t k = 0; k < all; ++k) {
            if (!basis_.template admit<L>(atoms_[k])) {
                continue;  // it has moved onto others, which explain all that it did
            }
            energies_[size_] = basis_.template take<L>();
            points_[size_] = points_[k];
            if (size_ < k) {
                copy(atoms_[k], atoms_[size_]);
            }
            ++size_;
        }
    }

    Setup setup_;
    LaneGrid<R> lanes_;
    LaneScan<R> scan_;
    LaneArray<R> signal_;
    LaneArray<R> trial_;
    std::vector<LaneArray<R>> atoms_;
    LaneBasis<R> basis_;
    std::vector<LanePoint> points_;
    std::vector<R> energies_;
    std::size_t size_ = 0;
    PursuitStatus status_ = PursuitStatus::silent;
};

/// Runs it in the lanes of an instruction set. Compiled: link echosieve::kernels.
ECHOSIEVE_API void run_lane_pursuit(LanePursuit<float>& pursuit, const StopRule<float>& stop,
                                    InstructionSet set);
ECHOSIEVE_API void run_lane_pursuit(LanePursuit<double>& pursuit, const StopRule<double>& stop,
                                    InstructionSet set);

}  // namespace echosieve::detail
