// Orthogonal pursuit of many signals over one matrix dictionary, by its Gram matrix.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>
#include <vector>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/dictionary/matrix_dictionary.hpp"
#include "echosieve/pursuit/detail/gram_scan.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve {

// Symbols
//   D  dictionary, columns d_i of unit norm;  y a signal, r its residual after k atoms
//   q_k   orthonormal basis of the chosen columns;  c_k = q_k^H r
//
// Per atom, i the place of the largest |d_i^H r|:
//   f_j = q_j^H d_i, one after the other off d_i;  rho the norm of what is left, q_k its direction
//   c_k = q_k^H r,  r -= c_k q_k,  |r|^2 -= |c_k|^2
// (f, rho) are the columns of the triangle R of the chosen columns' QR decomposition, grown atom by
// atom, and R x = c gives the coefficients (Pati, Rezaiifar and Krishnaprasad 1993). What all this
// costs is little beside finding i: that is done in float by way of the Gram matrix
// (gram_scan.hpp), which leaves the few columns that may be it, and d_i^H r of these decides. The
// choice is that of T, float is only the way there.

/// What a batch gives: column t belongs to signal t, its atoms in the order of their choice.
template <Sample T>
struct GramPursuitResult {
    Eigen::Matrix<Eigen::Index, Eigen::Dynamic, Eigen::Dynamic> columns;  ///< [atoms x signals]
    Eigen::Matrix<T, Eigen::Dynamic, Eigen::Dynamic> coefficients;        ///< [atoms x signals]
    std::vector<std::size_t> counts;    ///< of atoms; rows below hold -1 and 0
    std::vector<PursuitStatus> status;  ///< why each ended
    Eigen::Array<RealOf<T>, Eigen::Dynamic, 1> signal_energy;
    Eigen::Array<RealOf<T>, Eigen::Dynamic, 1> residual_energy;  ///< by subtraction: exact to
                                                                 ///< rounding of the signal's
};

/// Set up once a dictionary; holds its Gram matrix (columns^2 numbers in float). Not thread-safe:
/// one object a thread.
template <Sample T>
class GramPursuit {
public:
    using R = RealOf<T>;
    using Matrix = Eigen::Matrix<T, Eigen::Dynamic, Eigen::Dynamic>;
    using Vector = Eigen::Matrix<T, Eigen::Dynamic, 1>;

    /// Below this part of its energy, what a column adds to those before it is rounding.
    static constexpr R dependence = 1e4 * std::numeric_limits<R>::epsilon();

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
    [[nodiscard]] Eigen::Index best_column(Eigen::Index k, R norm);

    MatrixDictionary<T> dictionary_;
    detail::GramScan<T> scan_;
    Matrix basis_;     // q, [samples x atoms]
    Matrix triangle_;  // R
    Vector projections_;
    Vector coefficients_;
    Vector residual_;
    typename detail::GramScan<T>::Matrix scaled_;  // the batch's signals, each of norm 1
    double threshold_ = 0;
};

template <Sample T>
GramPursuit<T>::GramPursuit(Matrix columns, std::size_t atoms)
    : dictionary_(std::move(columns)),
      scan_(dictionary_.columns(), most_atoms(dictionary_, atoms), batch),
      scaled_(dictionary_.samples(), batch) {
    const Eigen::Index most = most_atoms(dictionary_, atoms);
    basis_.resize(dictionary_.samples(), most);
    triangle_.resize(most, most);
    projections_.resize(most);
    coefficients_.resize(most);
    residual_.resize(dictionary_.samples());
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
    result.columns.setConstant(basis_.cols(), count, -1);
    result.coefficients.setZero(basis_.cols(), count);
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
                residual_ = signals.col(first + k);
                take_apart(k, first + k, stop, result);
            }
        }
    }
}

// The column of the largest |d^H r|, and the first of equal ones.
template <Sample T>
Eigen::Index GramPursuit<T>::best_column(Eigen::Index k, R norm) {
    auto x = coefficients_.head(k);
    x = projections_.head(k) / norm;
    triangle_.topLeftCorner(k, k).template triangularView<Eigen::Upper>().solveInPlace(x);
    R largest = -1;
    Eigen::Index best = -1;
    scan_.candidates(x, [&](Eigen::Index i) {
        const R here = Eigen::numext::abs2(dictionary_.columns().col(i).dot(residual_));
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
    const R rounding = whole * std::numeric_limits<R>::epsilon();
    R energy = whole;
    Eigen::Index k = 0;
    PursuitStatus status = PursuitStatus::atom_count;
    scan_.start(place);
    for (; k < basis_.cols(); ++k) {
        if (energy <= static_cast<R>(stop.residual_fraction) * whole || energy <= rounding) {
            status = PursuitStatus::residual_small;
            break;
        }
        const Eigen::Index i = best_column(k, norm);
        auto q = basis_.col(k);
        q = dictionary_.columns().col(i);
        for (Eigen::Index j = 0; j < k; ++j) {
            const T f = basis_.col(j).dot(q);
            triangle_(j, k) = f;
            q -= f * basis_.col(j);
        }
        const R left = q.squaredNorm();
        if (!(left > dependence)) {
            status = PursuitStatus::exhausted;
            break;
        }
        const R rho = std::sqrt(left);
        q /= rho;
        const T c = q.dot(residual_);
        const R captured = Eigen::numext::abs2(c);
        if (stop.false_alarm && static_cast<double>((is_complex<T> ? 2 : 1) * captured) /
                                        stop.false_alarm->noise_variance <
                                    threshold_) {
            status = PursuitStatus::not_significant;
            break;
        }
        residual_ -= c * q;
        triangle_(k, k) = rho;
        projections_[k] = c;
        result.columns(k, number) = i;
        energy = std::max(energy - captured, R{0});
        scan_.take(i);
    }
    auto x = result.coefficients.col(number).head(k);
    x = projections_.head(k);
    triangle_.topLeftCorner(k, k).template triangularView<Eigen::Upper>().solveInPlace(x);
    result.counts[static_cast<std::size_t>(number)] = static_cast<std::size_t>(k);
    result.status[static_cast<std::size_t>(number)] = status;
    result.residual_energy[number] = energy;
}

}  // namespace echosieve
