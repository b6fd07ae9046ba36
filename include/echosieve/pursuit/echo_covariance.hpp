// How well the parameters of several echoes are known together: the covariance of a least-squares
// fit, which is the Cramer-Rao bound where the echoes are the true ones.
#pragma once

#include <Eigen/Core>
#include <Eigen/QR>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <utility>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/pursuit/detail/projected_echoes.hpp"

namespace echosieve {

// Symbols (those of projected_echoes.hpp, and)
//   sigma^2  variance of the noise of one real component: of a real sample, or of the real and of
//            the imaginary part of a complex one
//   J        columns of D and Phi of all unknowns;  C = sigma^2 (J' J)^-1
//
// J' J / sigma^2 is the Fisher matrix in white Gaussian noise. D has the carrier stand still, so
// that its amplitudes are b = a exp(-i 2 pi f tau) up to a constant phase: C is turned over to a by
// da = db + i 2 pi f a dtau.
//
// J = Q R by QR with column pivoting, columns scaled to length 1. Where R is singular to within
// `dependence_threshold`, the unknowns that a null vector moves have infinite variance and no
// covariances; the others keep theirs.

/// Covariances of all parameters of all echoes. Per echo: arrival [s], centre frequency [Hz],
/// bandwidth [Hz], of a chirped atom chirp rate [Hz/s], then real and imaginary part of the
/// amplitude. Held parameters have variance 0, unknowable ones infinity.
struct EchoCovariance {
    Eigen::MatrixXd matrix;
    Eigen::Index parameters = 0;                  ///< per echo
    std::vector<std::complex<double>> amplitude;  ///< of each echo, at which it was computed

    [[nodiscard]] Eigen::Index index(std::size_t echo, Eigen::Index parameter) const noexcept {
        return static_cast<Eigen::Index>(echo) * parameters + parameter;
    }
    /// Standard deviation of parameter number `parameter` of an echo.
    [[nodiscard]] double deviation(std::size_t echo, Eigen::Index parameter) const {
        const Eigen::Index i = index(echo, parameter);
        return std::sqrt(matrix(i, i));
    }
    [[nodiscard]] double arrival(std::size_t echo) const { return deviation(echo, 0); }
    [[nodiscard]] double centre_frequency(std::size_t echo) const { return deviation(echo, 1); }
    [[nodiscard]] double bandwidth(std::size_t echo) const { return deviation(echo, 2); }
    /// 0 for an atom that has none.
    [[nodiscard]] double chirp_rate(std::size_t echo) const {
        return parameters == 6 ? deviation(echo, 3) : 0;
    }
    /// Of |a|, to first order; of an echo of amplitude 0 that of either part.
    [[nodiscard]] double magnitude(std::size_t echo) const {
        const std::complex<double> a = amplitude[echo];
        const double size = std::abs(a);
        return size > 0 ? along(echo, a.real() / size, a.imag() / size)
                        : deviation(echo, parameters - 2);
    }
    /// Of arg a [rad], to first order; infinite for an echo of amplitude 0.
    [[nodiscard]] double phase(std::size_t echo) const {
        const std::complex<double> a = amplitude[echo];
        const double size = std::abs(a);
        return size > 0 ? along(echo, -a.imag() / size, a.real() / size) / size
                        : std::numeric_limits<double>::infinity();
    }
    /// False where a parameter of the echo can't be known, or the arrival's standard deviation
    /// exceeds `limit` [s].
    [[nodiscard]] bool resolvable(std::size_t echo, double limit) const {
        for (Eigen::Index j = 0; j < parameters; ++j) {
            if (!(matrix(index(echo, j), index(echo, j)) <= std::numeric_limits<double>::max())) {
                return false;
            }
        }
        return arrival(echo) <= limit;
    }

private:
    // Of x Re a + y Im a.
    [[nodiscard]] double along(std::size_t echo, double x, double y) const {
        const Eigen::Index re = index(echo, parameters - 2);
        const Eigen::Index im = re + 1;
        const double infinity = std::numeric_limits<double>::infinity();
        if (matrix(re, re) == infinity || matrix(im, im) == infinity) {
            return infinity;
        }
        return std::sqrt(std::fmax(
            x * x * matrix(re, re) + 2 * x * y * matrix(re, im) + y * y * matrix(im, im), 0.0));
    }
};

namespace detail {

// (J' J)^-1 of the columns of `jacobian`, which is overwritten: rows and columns of unknowable
// parameters are 0, their diagonal infinite.
template <Real R>
[[nodiscard]] Eigen::MatrixX<R> inverse_information(Eigen::MatrixX<R>& jacobian, double threshold) {
    const Eigen::Index n = jacobian.cols();
    Eigen::VectorX<R> length = jacobian.colwise().norm();
    for (Eigen::Index j = 0; j < n; ++j) {
        if (length[j] > 0) {
            jacobian.col(j) /= length[j];
        }
    }
    Eigen::ColPivHouseholderQR<Eigen::MatrixX<R>> qr(jacobian.rows(), n);
    qr.setThreshold(threshold);
    qr.compute(jacobian);
    const Eigen::Index rank = qr.rank();
    const Eigen::MatrixX<R> upper = qr.matrixR().topLeftCorner(rank, rank);
    Eigen::MatrixX<R> inverse = Eigen::MatrixX<R>::Identity(rank, rank);
    upper.template triangularView<Eigen::Upper>().solveInPlace(inverse);
    const Eigen::MatrixX<R> covariance = inverse * inverse.transpose();
    const Eigen::MatrixX<R> null = inverse * qr.matrixR().topRightCorner(rank, n - rank);
    Eigen::MatrixX<R> out = Eigen::MatrixX<R>::Zero(n, n);
    const auto& place = qr.colsPermutation().indices();
    const double moved = std::sqrt(threshold);
    const auto known = [&](Eigen::Index j) {
        return j < rank && (n == rank || null.row(j).cwiseAbs().maxCoeff() < moved);
    };
    for (Eigen::Index j = 0; j < n; ++j) {
        if (!known(j)) {
            out(place[j], place[j]) = std::numeric_limits<double>::infinity();
            continue;
        }
        for (Eigen::Index i = 0; i < n; ++i) {
            if (known(i)) {
                out(place[i], place[j]) = covariance(i, j) / (length[place[i]] * length[place[j]]);
            }
        }
    }
    return out;
}

// Numbers of the unknowns among all parameters, echo by echo, its amplitude's two the last. Throws
// InvalidInput for an invalid echo or box.
template <FittedAtom A>
[[nodiscard]] std::vector<Eigen::Index> unknown_parameters(const std::vector<Echo<A>>& echoes,
                                                           const std::vector<AtomBox<A>>& boxes) {
    constexpr Eigen::Index p = atom_parameters<A>;
    std::vector<Eigen::Index> unknown;
    for (std::size_t k = 0; k < echoes.size(); ++k) {
        validate(echoes[k].atom);
        validate(boxes[k]);
        for (Eigen::Index j = 0; j < p + 2; ++j) {
            if (j >= p || parameter_range(boxes[k], j).width() > 0) {
                unknown.push_back(static_cast<Eigen::Index>(k) * (p + 2) + j);
            }
        }
    }
    return unknown;
}

// Turns the covariances of b = a exp(-i 2 pi f tau), at a carrier that stands still, over to those
// of the amplitudes a.
template <FittedAtom A>
void turn_amplitudes(const std::vector<Echo<A>>& echoes, EchoCovariance& out) {
    Eigen::MatrixX<typename A::real_type>& matrix = out.matrix;
    constexpr Eigen::Index p = atom_parameters<A>;
    for (std::size_t k = 0; k < echoes.size(); ++k) {
        const std::complex<double> turn =
            std::complex<double>(0, 2 * std::numbers::pi * echoes[k].atom.centre_frequency) *
            echoes[k].amplitude;
        const Eigen::Index tau = out.index(k, 0);
        for (const auto& [row, slope] : {std::pair{out.index(k, p), turn.real()},
                                         std::pair{out.index(k, p + 1), turn.imag()}}) {
            if (matrix(tau, tau) > std::numeric_limits<double>::max()) {
                if (slope != 0) {  // unknown with the arrival
                    matrix.row(row).setZero();
                    matrix.col(row).setZero();
                    matrix(row, row) = matrix(tau, tau);
                }
            } else if (slope != 0) {
                matrix.row(row) += slope * matrix.row(tau);
                matrix.col(row) += slope * matrix.col(tau);
            }
        }
    }
}

}  // namespace detail

/// Covariance of the parameters of echoes that samples of type T on `grid` hold, in white noise of
/// variance `noise_variance` per real component. A parameter whose range in its echo's box has no
/// width is known; the boxes' places don't matter. Throws InvalidInput for an invalid grid, echo or
/// box, unequal numbers, no echo, a negative variance, a mixing frequency with real samples, or
/// fewer samples than unknowns.
template <Sample T, FittedAtom A>
[[nodiscard]] EchoCovariance echo_covariance(const std::vector<Echo<A>>& echoes,
                                             const SamplingGrid& grid,
                                             const std::vector<AtomBox<A>>& boxes,
                                             double noise_variance) {
    using R = typename A::real_type;
    constexpr Eigen::Index p = atom_parameters<A>;
    validate(grid);
    require(!echoes.empty(), "number of echoes", echoes.size(), "must be one or more");
    require(boxes.size() == echoes.size(), "number of boxes", boxes.size(),
            "must equal the number of echoes");
    require(noise_variance >= 0 && is_finite(noise_variance), "noise_variance", noise_variance,
            "must be zero or more and finite");
    require(is_complex<T> || grid.mixing_frequency == 0, "mixing_frequency", grid.mixing_frequency,
            "must be 0 for real samples [Hz]");
    const auto rows = real_rows<T>(grid.count);
    const auto count = static_cast<Eigen::Index>(echoes.size());
    const std::vector<Eigen::Index> unknown = detail::unknown_parameters(echoes, boxes);
    require(rows >= static_cast<Eigen::Index>(unknown.size()), "number of real samples", rows,
            detail::concatenate("must be at least the number of unknowns, ", unknown.size()));
    Eigen::MatrixX<R> all(rows, count * (p + 2));
    EchoCovariance out;
    out.parameters = p + 2;
    const Eigen::VectorX<R> ones = Eigen::VectorX<R>::Ones(p);
    for (Eigen::Index k = 0; k < count; ++k) {
        const Echo<A>& echo = echoes[static_cast<std::size_t>(k)];
        out.amplitude.push_back(echo.amplitude);
        auto block = all.middleCols(k * (p + 2), p + 2);
        write_atom_columns(echo.atom, grid, is_complex<T>, block.rightCols(2));
        write_derivatives(echo, grid, block.rightCols(2), ones, block.leftCols(p));
    }
    Eigen::MatrixX<R> jacobian = all(Eigen::all, unknown);
    Eigen::MatrixX<R>& matrix = out.matrix;
    matrix = Eigen::MatrixX<R>::Zero(all.cols(), all.cols());
    matrix(unknown, unknown) =
        detail::inverse_information(jacobian, dependence_threshold(grid.count));
    detail::turn_amplitudes(echoes, out);
    if (noise_variance > 0) {
        matrix *= noise_variance;
    } else {
        matrix = matrix.unaryExpr([](double x) { return std::isinf(x) ? x : 0.0; });
    }
    return out;
}

}  // namespace echosieve
