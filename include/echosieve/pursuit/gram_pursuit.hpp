// Orthogonal pursuit of many signals over one matrix dictionary, by its Gram matrix.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/scalar.hpp"
#include "echosieve/dictionary/matrix_dictionary.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve {

// Symbols
//   D  dictionary, columns d_i of unit norm;  G = D^H D;  y a signal, r its residual after k atoms
//   q_k   orthonormal basis of the chosen columns;  w_k = D^H q_k;  c_k = q_k^H y;  alpha = D^H r
//
// alpha_0 = D^H y, then per atom, i the place of the largest |alpha|:
//   f_j = conj(w_j[i])  (= q_j^H d_i),  rho^2 = 1 - sum_j |f_j|^2
//   w_k = (G_i - sum_j w_j f_j) / rho,  c_k = alpha[i] / rho,  alpha -= c_k w_k,  |r|^2 -= |c_k|^2
// (f, rho) are the columns of the Cholesky factor R of the chosen columns' Gram matrix, grown atom
// by atom, and R x = c gives the coefficients (Pati, Rezaiifar and Krishnaprasad 1993; Gram form:
// Rubinstein, Zibulevsky and Elad 2008, technical report, Technion). No signal is touched after
// alpha_0, so that an atom costs k passes over the dictionary's columns and not over its entries.
// Cholesky squares the condition: coefficients lose twice the digits that PursuitEngine's loses.

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

/// Set up once a dictionary; holds its Gram matrix (columns^2 numbers). Not thread-safe: one object
/// a thread.
template <Sample T>
class GramPursuit {
public:
    using R = RealOf<T>;
    using Matrix = Eigen::Matrix<T, Eigen::Dynamic, Eigen::Dynamic>;
    using Vector = Eigen::Matrix<T, Eigen::Dynamic, 1>;

    /// Below this part of its energy, what a column adds to those before it is rounding.
    static constexpr R dependence = 1e4 * std::numeric_limits<R>::epsilon();

    /// Throws InvalidInput as MatrixDictionary does, or for atoms == 0.
    GramPursuit(Matrix columns, std::size_t atoms) : dictionary_(std::move(columns)) {
        require(atoms >= 1, "atoms", atoms, "must be at least 1");
        const Eigen::Index count = dictionary_.columns().cols();
        const auto most =
            std::min(static_cast<Eigen::Index>(atoms), std::min(count, dictionary_.samples()));
        const Eigen::Index padded = (count + line - 1) / line * line;
        gram_.setZero(padded, count);
        gram_.topRows(count).noalias() = dictionary_.columns().adjoint() * dictionary_.columns();
        basis_.resize(padded, most);
        products_.setZero(padded, batch);
        triangle_.resize(most, most);
        projections_.resize(most);
    }

    [[nodiscard]] const MatrixDictionary<T>& dictionary() const noexcept { return dictionary_; }

    /// Takes the columns of `signals` [rows x signals] apart. Throws InvalidInput unless the rows
    /// are the dictionary's, all samples finite and the options in their domain.
    void run(const Eigen::Ref<const Matrix>& signals, const Stop& stop,
             GramPursuitResult<T>& result) {
        validate(stop);
        require(signals.rows() == dictionary_.samples(), "rows of the signals", signals.rows(),
                detail::concatenate("must be the dictionary's, ", dictionary_.samples()));
        require(signals.allFinite(), "signals", "NaN or infinity", "every sample must be finite");
        const Eigen::Index count = signals.cols();
        result.columns.setConstant(basis_.cols(), count, -1);
        result.coefficients.setZero(basis_.cols(), count);
        result.counts.assign(static_cast<std::size_t>(count), 0);
        result.status.assign(static_cast<std::size_t>(count), PursuitStatus::silent);
        result.signal_energy = signals.colwise().squaredNorm().transpose().array();
        result.residual_energy = result.signal_energy;
        threshold_ =
            stop.false_alarm ? dictionary_.false_alarm_threshold(stop.false_alarm->probability) : 0;
        for (Eigen::Index first = 0; first < count; first += batch) {
            const Eigen::Index some = std::min(batch, count - first);
            products_.topLeftCorner(gram_.cols(), some).noalias() =
                dictionary_.columns().adjoint() * signals.middleCols(first, some);
            for (Eigen::Index k = 0; k < some; ++k) {
                if (result.signal_energy[first + k] > 0) {
                    take_apart(products_.col(k), first + k, stop, result);
                }
            }
        }
    }

private:
    static constexpr Eigen::Index batch = 32;  // signals whose products fit the cache
    static constexpr Eigen::Index line = 16;   // rows are padded with zeros to a multiple of it
    static constexpr Eigen::Index piece_length = 128;  // columns worked on together

    // The largest |alpha|^2, and the first of its places.
    struct Largest {
        R square = -1;
        Eigen::Index piece = 0;  // where the piece that holds it begins

        template <class Segment>
        void look_at(const Segment& part, Eigen::Index first) {
            const R here = part.cwiseAbs2().maxCoeff();
            if (here > square) {
                square = here;
                piece = first;
            }
        }
        template <class Column>
        [[nodiscard]] Eigen::Index place(const Column& alpha) const {
            Eigen::Index at = 0;
            alpha.segment(piece, std::min(piece_length, alpha.size() - piece))
                .cwiseAbs2()
                .maxCoeff(&at);
            return piece + at;
        }
    };

    // w_k, and alpha without it: piece by piece, so that every number is read once from the cache.
    template <class Column>
    [[nodiscard]] Largest sweep(Column& alpha, Eigen::Index k, Eigen::Index i, R rho, T c) {
        Largest largest;
        const auto f = triangle_.col(k);
        for (Eigen::Index first = 0; first < alpha.size(); first += piece_length) {
            const Eigen::Index length = std::min(piece_length, alpha.size() - first);
            const auto before = [&](Eigen::Index j) {
                return f[j] * basis_.col(j).segment(first, length);
            };
            auto w = basis_.col(k).segment(first, length);
            w = gram_.col(i).segment(first, length);
            Eigen::Index j = 0;
            for (; j + 4 <= k; j += 4) {
                w -= before(j) + before(j + 1) + before(j + 2) + before(j + 3);
            }
            for (; j < k; ++j) {
                w -= before(j);
            }
            w *= 1 / rho;
            auto part = alpha.segment(first, length);
            part -= c * w;
            largest.look_at(part, first);
        }
        return largest;
    }

    template <class Column>
    void take_apart(Column&& alpha, Eigen::Index number, const Stop& stop,
                    GramPursuitResult<T>& result) {
        const R whole = result.signal_energy[number];
        const R rounding = whole * std::numeric_limits<R>::epsilon();
        R energy = whole;
        Largest largest;
        for (Eigen::Index first = 0; first < alpha.size(); first += piece_length) {
            largest.look_at(alpha.segment(first, std::min(piece_length, alpha.size() - first)),
                            first);
        }
        Eigen::Index k = 0;
        PursuitStatus status = PursuitStatus::atom_count;
        for (; k < basis_.cols(); ++k) {
            if (energy <= static_cast<R>(stop.residual_fraction) * whole || energy <= rounding) {
                status = PursuitStatus::residual_small;
                break;
            }
            const Eigen::Index i = largest.place(alpha);
            auto f = triangle_.col(k).head(k);
            f = basis_.row(i).head(k).adjoint();
            const R left = 1 - f.squaredNorm();
            if (!(left > dependence)) {
                status = PursuitStatus::exhausted;
                break;
            }
            const R rho = std::sqrt(left);
            const T c = alpha[i] / rho;
            const R captured = Eigen::numext::abs2(c);
            if (stop.false_alarm && static_cast<double>((is_complex<T> ? 2 : 1) * captured) /
                                            stop.false_alarm->noise_variance <
                                        threshold_) {
                status = PursuitStatus::not_significant;
                break;
            }
            triangle_(k, k) = rho;
            projections_[k] = c;
            result.columns(k, number) = i;
            energy = std::max(energy - captured, R{0});
            if (k + 1 < basis_.cols()) {
                largest = sweep(alpha, k, i, rho, c);
            }
        }
        auto x = result.coefficients.col(number).head(k);
        x = projections_.head(k);
        triangle_.topLeftCorner(k, k).template triangularView<Eigen::Upper>().solveInPlace(x);
        result.counts[static_cast<std::size_t>(number)] = static_cast<std::size_t>(k);
        result.status[static_cast<std::size_t>(number)] = status;
        result.residual_energy[number] = energy;
    }

    MatrixDictionary<T> dictionary_;
    Matrix gram_;      // G, [padded columns x columns]
    Matrix basis_;     // W, [padded columns x atoms]
    Matrix triangle_;  // R
    Vector projections_;
    Matrix products_;
    double threshold_ = 0;
};

}  // namespace echosieve
