// Orthogonal pursuit of many signals over one matrix dictionary, by its Gram matrix.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/dictionary/matrix_dictionary.hpp"
#include "echosieve/pursuit/detail/dense_basis.hpp"
#include "echosieve/pursuit/detail/gram_scan.hpp"
#include "echosieve/pursuit/detail/pursuit_loop.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve {

// Symbols
//   D  dictionary, columns d_i of unit norm;  y a signal, r its residual after k atoms
//   q_k   orthonormal basis of the chosen columns;  c_k = q_k^H r
//
// Per atom, i the place of the largest |d_i^H r|:
//   d_i is made orthogonal to the q before it: q_k (gram_schmidt.hpp)
//   c_k = q_k^H r,  r -= c_k q_k
// (Pati, Rezaiifar and Krishnaprasad 1993.) What all this costs is little beside finding i: that is
// done in float by way of the Gram matrix (gram_scan.hpp), which leaves the few columns that may be
// it, and d_i^H r of these decides. The choice is that of T, float is only the way there.

/// What a batch gives: column t belongs to signal t, its atoms in the order of their choice.
template <Sample T>
struct GramPursuitResult {
    Eigen::Matrix<Eigen::Index, Eigen::Dynamic, Eigen::Dynamic> columns;  ///< [atoms x signals]
    Eigen::Matrix<T, Eigen::Dynamic, Eigen::Dynamic> coefficients;        ///< [atoms x signals]
    std::vector<std::size_t> counts;    ///< of atoms; rows below hold -1 and 0
    std::vector<PursuitStatus> status;  ///< why each ended
    Eigen::Array<RealOf<T>, Eigen::Dynamic, 1> signal_energy;
    Eigen::Array<RealOf<T>, Eigen::Dynamic, 1> residual_energy;
};

/// Set up once a dictionary; holds its Gram matrix (columns^2 numbers in float). Not thread-safe:
/// one object a thread.
template <Sample T>
class GramPursuit {
public:
    using R = RealOf<T>;
    using Matrix = Eigen::Matrix<T, Eigen::Dynamic, Eigen::Dynamic>;
    using Vector = Eigen::Matrix<T, Eigen::Dynamic, 1>;

    /// Throws InvalidInput as MatrixDictionary does, or for atoms == 0.
    GramPursuit(Matrix columns, std::size_t atoms);

    [[nodiscard]] const MatrixDictionary<T>& dictionary() const noexcept { return dictionary_; }

    /// Takes the columns of `signals` [rows x signals] apart. Throws InvalidInput unless the rows
    /// are the dictionary's, all samples and each signal's energy finite and the options in their
    /// domain.
    void run(const Eigen::Ref<const Matrix>& signals, const Stop& stop,
             GramPursuitResult<T>& result);

private:
    static constexpr Eigen::Index batch = 32;  // signals whose products fit the cache

    [[nodiscard]] static Eigen::Index most_atoms(const MatrixDictionary<T>& dictionary,
                                                 std::size_t atoms);
    void take_apart(Eigen::Index place, Eigen::Index number, const Stop& stop,
                    GramPursuitResult<T>& result);
    [[nodiscard]] Eigen::Index best_column(R norm);

    MatrixDictionary<T> dictionary_;
    detail::GramScan<T> scan_;
    detail::DenseBasis<T> basis_;
    Eigen::Index most_;  // atoms
    Vector coefficients_;
    typename detail::GramScan<T>::Matrix scaled_;  // the batch's signals, each of norm 1
    double threshold_ = 0;
};

template <Sample T>
GramPursuit<T>::GramPursuit(Matrix columns, std::size_t atoms)
    : dictionary_(std::move(columns)),
      scan_(dictionary_.columns(), most_atoms(dictionary_, atoms), batch),
      most_(most_atoms(dictionary_, atoms)),
      coefficients_(most_),
      scaled_(dictionary_.samples(), batch) {
    basis_.make_room(dictionary_.samples(), most_);
}

template <Sample T>
Eigen::Index GramPursuit<T>::most_atoms(const MatrixDictionary<T>& dictionary, std::size_t atoms) {
    require(atoms >= 1, "atoms", atoms, "must be at least 1");
    const Eigen::Index limit = std::min(dictionary.columns().cols(), dictionary.samples());
    return static_cast<Eigen::Index>(std::min(atoms, static_cast<std::size_t>(limit)));
}

template <Sample T>
void GramPursuit<T>::run(const Eigen::Ref<const Matrix>& signals, const Stop& stop,
                         GramPursuitResult<T>& result) {
    validate(stop);
    require(signals.rows() == dictionary_.samples(), "rows of the signals", signals.rows(),
            detail::concatenate("must be the dictionary's, ", dictionary_.samples()));
    require(signals.allFinite(), "signals", "NaN or infinity", "every sample must be finite");
    const Eigen::Index count = signals.cols();
    result.signal_energy = signals.colwise().squaredNorm().transpose().array();
    require(result.signal_energy.allFinite(), "signal energy", "infinity",
            "must be finite: scale the signals down");
    result.columns.setConstant(most_, count, -1);
    result.coefficients.setZero(most_, count);
    result.counts.assign(static_cast<std::size_t>(count), 0);
    result.status.assign(static_cast<std::size_t>(count), PursuitStatus::silent);
    result.residual_energy = result.signal_energy;
    threshold_ =
        stop.false_alarm ? dictionary_.false_alarm_threshold(stop.false_alarm->probability) : 0;
    for (Eigen::Index first = 0; first < count; first += batch) {
        const Eigen::Index some = std::min(batch, count - first);
        for (Eigen::Index k = 0; k < some; ++k) {
            const R norm = std::sqrt(result.signal_energy[first + k]);
            if (norm > 0) {
                scaled_.col(k) = (signals.col(first + k) / norm)
                                     .template cast<typename detail::GramScan<T>::Narrow>();
            } else {
                scaled_.col(k).setZero();
            }
        }
        scan_.project(scaled_.leftCols(some));
        for (Eigen::Index k = 0; k < some; ++k) {
            if (result.signal_energy[first + k] > 0) {
                basis_.start(signals.col(first + k));
                take_apart(k, first + k, stop, result);
            }
        }
    }
}

// The column of the largest |d^H r|, and the first of equal ones.
template <Sample T>
Eigen::Index GramPursuit<T>::best_column(R norm) {
    basis_.solve(coefficients_.data());
    coefficients_.head(basis_.size()) *= 1 / norm;
    R largest = -1;
    Eigen::Index best = -1;
    scan_.candidates(coefficients_, [&](Eigen::Index i) {
        const R here = Eigen::numext::abs2(dictionary_.columns().col(i).dot(basis_.residual()));
        if (here > largest) {
            largest = here;
            best = i;
        }
    });
    return best;
}

template <Sample T>
void GramPursuit<T>::take_apart(Eigen::Index place, Eigen::Index number, const Stop& stop,
                                GramPursuitResult<T>& result) {
    const R whole = result.signal_energy[number];
    const R norm = std::sqrt(whole);
    const auto t = static_cast<std::size_t>(number);
    Eigen::Index best = -1;
    const auto next = [&](std::size_t) {
        best = best_column(norm);
        return basis_.admit(1, [&](auto&& q) { q.col(0) = dictionary_.columns().col(best); });
    };
    const auto keep = [&](R energy) {
        result.columns(basis_.size() - 1, number) = best;
        result.residual_energy[number] = energy;
        scan_.take(best);
    };
    scan_.start(place);
    result.status[t] = detail::choose_atoms(
        detail::stop_rule<T>(stop, static_cast<std::size_t>(most_), whole, threshold_), basis_,
        next, keep);
    result.counts[t] = static_cast<std::size_t>(basis_.size());
    basis_.solve(result.coefficients.col(number).data());
}

}  // namespace echosieve
