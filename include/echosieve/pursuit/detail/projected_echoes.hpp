// Several echoes on one signal: their best amplitudes, what they leave, and the derivatives of that
// with the amplitudes projected out.
#pragma once

#include <Eigen/Core>
#include <Eigen/QR>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/detail/recurrence.hpp"
#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/dictionary/atom_box.hpp"

namespace echosieve {

// Symbols
//   y       the signal as real rows: the samples, or their real parts and then their imaginary ones
//   g_k     echo k's sampled atom, shifted down by the mixing frequency;  a_k its amplitude
//   Phi     columns Re g_k, -Im g_k of real samples; those of g_k and i g_k of complex ones:
//           the echoes are Phi (Re a_1, Im a_1, Re a_2, ...)
//   P       projection on what is orthogonal to Phi;  r = P y what the echoes leave
//   D       columns: derivatives of the echoes by tau, f, B [, gamma] of each, times the unit in
//           which that parameter is counted;  u = t - tau
//             d_tau = (2 alpha - i 2 pi gamma) u a g,    d_f = i 2 pi u a g,
//             d_B = -(2 alpha / B) u^2 a g,              d_gamma = i pi u^2 a g
//   H = D' P D,   h = D' r
//
// d_tau is taken at a carrier that stands still: the rest, -i 2 pi f a g, lies in the span of Phi
// and drops out of P D. H d = h is the Gauss-Newton step of variable projection (Golub and Pereyra
// 1973) with Kaufman's Jacobian P D (1975), which is the step of all parameters together, seen from
// the non-linear ones. The full Jacobian, tried on crowded echoes in noise, needed as many
// iterations or more: 10.4 instead of 8.2 for seven echoes on 650 samples, each at more cost.
//
// P comes from Householder's QR with column pivoting. A column that depends on the pivots before it
// to within `dependence_threshold` is left out, and its coefficient is 0: of two equal atoms one
// takes the whole amplitude.

/// Columns whose part orthogonal to the others is below this part of the largest column are taken
/// as dependent: the rounding of the recurrence that wrote them.
[[nodiscard]] constexpr double dependence_threshold(std::size_t samples) noexcept {
    return std::max(1e-12, recurrence_error(samples));
}

/// Unit of parameter number j of an atom: the change that changes its shape about as much as any
/// other parameter's unit.
template <FittedAtom A>
[[nodiscard]] double parameter_unit(const A& atom, Eigen::Index j) noexcept {
    const double root = std::sqrt(decay(atom));
    return j == 0   ? 0.5 / root
           : j == 1 ? root / (2 * std::numbers::pi)
           : j == 2 ? atom.bandwidth / 2
                    : root * root / std::numbers::pi;
}

/// Units of all parameters of all atoms, atom by atom. Equal shapes have equal units.
template <FittedAtom A>
[[nodiscard]] Eigen::VectorXd parameter_units(const std::vector<A>& atoms) {
    constexpr Eigen::Index p = atom_parameters<A>;
    Eigen::VectorXd out(p * static_cast<Eigen::Index>(atoms.size()));
    for (Eigen::Index i = 0; i < out.size(); ++i) {
        out[i] = parameter_unit(atoms[static_cast<std::size_t>(i / p)], i % p);
    }
    return out;
}

/// Rows of y for `count` samples: twice as many of complex ones.
template <Sample T>
[[nodiscard]] constexpr Eigen::Index real_rows(std::size_t count) noexcept {
    return static_cast<Eigen::Index>(is_complex<T> ? 2 * count : count);
}

/// Writes samples as the rows of y.
template <Sample T, class Derived>
void write_real_rows(std::span<const T> samples, Eigen::MatrixBase<Derived>& out) {
    const auto count = static_cast<Eigen::Index>(samples.size());
    for (Eigen::Index i = 0; i < count; ++i) {
        const T sample = samples[static_cast<std::size_t>(i)];
        if constexpr (is_complex<T>) {
            out(i) = static_cast<double>(sample.real());
            out(count + i) = static_cast<double>(sample.imag());
        } else {
            out(i) = static_cast<double>(sample);
        }
    }
}

/// Writes the two columns of Phi of one atom.
template <FittedAtom A, class Block>
void write_atom_columns(const A& atom, const SamplingGrid& grid, bool complex_samples,
                        Block&& out) {
    const auto count = static_cast<Eigen::Index>(grid.count);
    out.setZero();
    for_each_by_recurrence(atom, grid, support(atom, grid),
                           [&](std::size_t n, double, double gr, double gi) {
                               const auto i = static_cast<Eigen::Index>(n);
                               out(i, 0) = gr;
                               out(i, 1) = -gi;
                               if (complex_samples) {
                                   out(count + i, 0) = gi;
                                   out(count + i, 1) = gr;
                               }
                           });
}

/// Writes the columns of D of one echo, from its columns of Phi.
template <FittedAtom A, class Columns, class Units, class Block>
void write_derivatives(const Echo<A>& echo, const SamplingGrid& grid, const Columns& phi,
                       const Units& units, Block&& out) {
    const double pi = std::numbers::pi;
    const A& atom = echo.atom;
    const double alpha = decay(atom);
    const auto count = static_cast<Eigen::Index>(grid.count);
    const bool complex_samples = phi.rows() > count;
    const SampleRange range = support(atom, grid);
    out.setZero();
    const auto write = [&](Eigen::Index row, double u, double part, double turned) {
        // part: of a g; turned: of i a g.
        out(row, 0) = units[0] * u *
                      (2 * alpha * part - 2 * pi * static_cast<double>(atom.chirp_rate) * turned);
        out(row, 1) = units[1] * 2 * pi * u * turned;
        out(row, 2) = -units[2] * 2 * alpha / atom.bandwidth * u * u * part;
        if constexpr (atom_parameters<A> == 4) {
            out(row, 3) = units[3] * pi * u * u * turned;
        }
    };
    for (std::size_t n = range.first; n < range.last; ++n) {
        const auto i = static_cast<Eigen::Index>(n);
        const double u = grid.time(static_cast<double>(n)) - atom.arrival;
        const std::complex<double> w = echo.amplitude * std::complex<double>(phi(i, 0), -phi(i, 1));
        write(i, u, w.real(), -w.imag());
        if (complex_samples) {
            write(count + i, u, w.imag(), w.real());
        }
    }
}

/// The numbers above for signals on one grid. It allocates when made.
template <FittedAtom A>
class ProjectedEchoes {
public:
    static constexpr Eigen::Index parameters = atom_parameters<A>;
    using R = typename A::real_type;
    using Matrix = Eigen::MatrixX<R>;
    using Vector = Eigen::VectorX<R>;

    /// `units`: one of each parameter, echo by echo.
    ProjectedEchoes(const SamplingGrid& grid, bool complex_samples, const Vector& units)
        : grid_(grid),
          complex_(complex_samples),
          echoes_(units.size() / parameters),
          units_(units) {
        const auto rows = static_cast<Eigen::Index>(complex_samples ? 2 * grid.count : grid.count);
        phi_.resize(rows, 2 * echoes_);
        derivatives_.resize(rows, parameters * echoes_);
        qr_ = Eigen::ColPivHouseholderQR<Matrix>(rows, 2 * echoes_);
        qr_.setThreshold(dependence_threshold(grid.count));
        turned_.resize(rows);
        coefficients_.resize(2 * echoes_);
        workspace_.resize(derivatives_.cols());
        gram_.resize(derivatives_.cols(), derivatives_.cols());
        gradient_.resize(derivatives_.cols());
        weight_.resize(derivatives_.cols());
    }

    /// Computes all of it for these atoms and the signal's rows y; at least as many rows as columns
    /// of Phi.
    template <class Rows>
    void project(std::span<const A> atoms, const Rows& y) {
        for (Eigen::Index k = 0; k < echoes_; ++k) {
            write_atom_columns(atoms[static_cast<std::size_t>(k)], grid_, complex_,
                               phi_.middleCols(2 * k, 2));
        }
        qr_.compute(phi_);
        const Eigen::Index rank = qr_.rank();
        turned_ = y;
        rotate(turned_);
        coefficients_.setZero();
        coefficients_.head(rank) = turned_.head(rank);
        qr_.matrixR()
            .topLeftCorner(rank, rank)
            .template triangularView<Eigen::Upper>()
            .solveInPlace(coefficients_.head(rank));
        coefficients_ = (qr_.colsPermutation() * coefficients_).eval();
        for (Eigen::Index k = 0; k < echoes_; ++k) {
            write_derivatives(Echo<A>{atoms[static_cast<std::size_t>(k)], amplitude(k)}, grid_,
                              phi_.middleCols(2 * k, 2), units_.segment(parameters * k, parameters),
                              derivatives_.middleCols(parameters * k, parameters));
        }
        weight_ = derivatives_.colwise().squaredNorm();
        rotate(derivatives_);
        const Eigen::Index rest = derivatives_.rows() - rank;
        gram_.setZero();
        gram_.template selfadjointView<Eigen::Lower>().rankUpdate(
            derivatives_.bottomRows(rest).transpose());
        gram_.template triangularView<Eigen::StrictlyUpper>() = gram_.transpose();
        gradient_.noalias() = derivatives_.bottomRows(rest).transpose() * turned_.tail(rest);
        energy_ = turned_.tail(rest).squaredNorm();
    }

    [[nodiscard]] std::complex<double> amplitude(Eigen::Index k) const noexcept {
        return {coefficients_[2 * k], coefficients_[2 * k + 1]};
    }
    [[nodiscard]] double energy() const noexcept { return energy_; }             ///< |r|^2
    [[nodiscard]] const Matrix& gram() const noexcept { return gram_; }          ///< H
    [[nodiscard]] const Vector& gradient() const noexcept { return gradient_; }  ///< h
    /// |d|^2 of each column of D before the projection.
    [[nodiscard]] const Vector& weight() const noexcept { return weight_; }

private:
    // Multiplies by Q', reflection by reflection in the workspace.
    template <class Columns>
    void rotate(Columns& matrix) {
        const Eigen::Index rows = matrix.rows();
        for (Eigen::Index k = 0; k < std::min(rows, phi_.cols()); ++k) {
            matrix.bottomRows(rows - k).applyHouseholderOnTheLeft(
                qr_.matrixQR().col(k).tail(rows - k - 1), qr_.hCoeffs()[k], workspace_.data());
        }
    }

    SamplingGrid grid_;
    bool complex_;
    Eigen::Index echoes_;
    Vector units_;
    Matrix phi_;
    Matrix derivatives_;
    Eigen::ColPivHouseholderQR<Matrix> qr_;
    Vector turned_;
    Vector coefficients_;
    Eigen::RowVectorX<R> workspace_;
    Matrix gram_;
    Vector gradient_;
    Vector weight_;
    double energy_ = 0;
};

}  // namespace echosieve
