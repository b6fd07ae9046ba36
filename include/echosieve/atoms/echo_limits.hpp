// How well overlapping echoes can be known at best, in one frame, or in many that share their
// shapes.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <utility>
#include <vector>

#include "echosieve/atoms/fisher_information.hpp"
#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

// Symbols
//   F    Fisher information, see fisher_information.hpp;  F^-1 the least covariance of unbiased
//        estimates (Cramer 1946, Rao 1945)
//   W_i  F of what frame i has to itself (arrival, amplitude, phase of every echo), C_i its rows
//        against the shapes that all frames share, S the shapes' own, summed over the frames
//
//   shapes:      cov = T^-1,  T = S - sum_i C_i^T W_i^-1 C_i
//   frame i:     cov = W_i^-1 + W_i^-1 C_i T^-1 C_i^T W_i^-1            (block elimination)
//
// An echo's bound does not change with the amplitudes of the others: scaling one scales rows and
// columns of F, and with them the same rows and columns of F^-1 alone.

/// Least standard deviations of one echo of several.
struct EchoLimit {
    double arrival = 0;             ///< [s]
    double centre_frequency = 0;    ///< [Hz]
    double relative_bandwidth = 0;  ///< of B
    double chirp_rate = 0;          ///< [Hz/s]
    double relative_amplitude = 0;  ///< of |a|
    double phase = 0;               ///< [rad]
    bool resolvable = false;        ///< see LimitOptions; what is known already has deviation 0
};

struct LimitOptions {
    double coarsest = 0.25;      ///< an echo is resolvable while its arrival is known to this part
                                 ///< of its -6 dB length
    double least_pivot = 1e-11;  ///< of the information, scaled to a unit diagonal: below it, it is
                                 ///< singular, and what depends on it unknown
};

inline void validate(const LimitOptions& options) {
    require(options.coarsest > 0, "coarsest", options.coarsest, "must be positive");
    require(options.least_pivot > 0 && options.least_pivot < 1, "least_pivot", options.least_pivot,
            "must lie in (0, 1)");
}

/// Inverse of an information matrix, its entries of any units; infinite throughout where the matrix
/// is singular to the options' pivot.
template <class Derived>
[[nodiscard]] Eigen::MatrixX<typename Derived::Scalar> least_covariance(
    const Eigen::MatrixBase<Derived>& information, const LimitOptions& options = {}) {
    using R = typename Derived::Scalar;
    using Matrix = Eigen::MatrixX<R>;
    validate(options);
    require(information.rows() == information.cols(), "columns", information.cols(),
            detail::concatenate("must be the rows, ", information.rows()));
    const Eigen::Index size = information.rows();
    const Matrix unknown = Matrix::Constant(size, size, std::numeric_limits<R>::infinity());
    const Eigen::ArrayX<R> diagonal = information.diagonal().array();
    if (!information.allFinite() || (size > 0 && !(diagonal.minCoeff() > 0))) {
        return unknown;
    }
    const Eigen::VectorX<R> scale = diagonal.sqrt().inverse().matrix();
    const Matrix scaled = scale.asDiagonal() * information * scale.asDiagonal();
    const Eigen::LDLT<Matrix> factor(scaled);
    if (size > 0 && !(factor.vectorD().minCoeff() > options.least_pivot)) {
        return unknown;
    }
    const Matrix inverse = factor.solve(Matrix::Identity(size, size));
    return scale.asDiagonal() * inverse * scale.asDiagonal();
}

namespace detail {

// The limits of one echo from the variances of its free parameters, in FreeParameters' order.
template <Atom A, class Variance>
[[nodiscard]] EchoLimit limit_of(const Echo<A>& echo, const FreeParameters& free, Variance variance,
                                 const LimitOptions& options) {
    const auto which = free.all();
    std::array<double, FreeParameters::most> deviation{};
    Eigen::Index next = 0;
    for (std::size_t k = 0; k < FreeParameters::most; ++k) {
        deviation[k] = which[k] ? std::sqrt(variance(next++)) : 0;
    }
    const auto bandwidth = static_cast<double>(echo.atom.bandwidth);
    const double length = pulse_length(decay_from_bandwidth(bandwidth));
    return {.arrival = deviation[0],
            .centre_frequency = deviation[1],
            .relative_bandwidth = deviation[2] / bandwidth,
            .chirp_rate = deviation[3],
            .relative_amplitude = deviation[4],
            .phase = deviation[5],
            .resolvable = deviation[0] <= options.coarsest * length};
}

}  // namespace detail

/// Limits of every echo of one frame. Throws InvalidInput as fisher_information does.
template <Atom A>
[[nodiscard]] std::vector<EchoLimit> echo_limits(std::span<const Echo<A>> echoes,
                                                 const FreeParameters& free,
                                                 const SampledNoise& noise,
                                                 const LimitOptions& options = {}) {
    const Eigen::MatrixXd covariance =
        least_covariance(fisher_information(echoes, free, noise), options);
    std::vector<EchoLimit> out;
    for (std::size_t k = 0; k < echoes.size(); ++k) {
        const Eigen::Index first = free.count() * static_cast<Eigen::Index>(k);
        out.push_back(detail::limit_of(
            echoes[k], free, [&](Eigen::Index j) { return covariance(first + j, first + j); },
            options));
    }
    return out;
}

/// Limits of every echo of every frame, [frames][echoes], where echo k has the same shape (the
/// free ones of centre frequency, bandwidth and chirp rate) in all frames, and arrival, amplitude
/// and phase of its own in each. Throws InvalidInput as fisher_information does, or unless all
/// frames have as many echoes.
template <Atom A>
[[nodiscard]] std::vector<std::vector<EchoLimit>> shared_shape_limits(
    std::span<const std::vector<Echo<A>>> frames, const FreeParameters& free,
    const SampledNoise& noise, const LimitOptions& options = {}) {
    std::vector<std::vector<EchoLimit>> out;
    if (frames.empty()) {
        return out;
    }
    const std::size_t echoes = frames[0].size();
    // Which rows of F are the frame's own, which the shapes'.
    std::vector<Eigen::Index> own, shared;
    const auto which = free.all();
    for (std::size_t k = 0; k < echoes; ++k) {
        Eigen::Index row = free.count() * static_cast<Eigen::Index>(k);
        for (std::size_t j = 0; j < FreeParameters::most; ++j) {
            if (which[j]) {
                const bool shape = j > 0 && j < atom_parameter_count;
                (shape ? shared : own).push_back(row++);
            }
        }
    }
    using Matrix = decltype(fisher_information(std::span(frames[0]), free, noise));
    std::vector<Matrix> spread;    // W^-1
    std::vector<Matrix> leverage;  // W^-1 C
    const auto shapes = static_cast<Eigen::Index>(shared.size());
    Matrix rest = Matrix::Zero(shapes, shapes);  // T
    for (const std::vector<Echo<A>>& frame : frames) {
        require(frame.size() == echoes, "number of echoes", frame.size(),
                detail::concatenate("must be that of the first frame, ", echoes));
        const Matrix f = fisher_information(std::span<const Echo<A>>(frame), free, noise);
        const Matrix c = f(own, shared);
        spread.push_back(least_covariance(f(own, own), options));
        leverage.push_back(spread.back() * c);
        rest += f(shared, shared) - c.transpose() * leverage.back();
    }
    const Matrix shape_covariance = least_covariance(rest, options);
    for (std::size_t i = 0; i < frames.size(); ++i) {
        Matrix all = Matrix::Zero(free.count() * static_cast<Eigen::Index>(echoes),
                                  free.count() * static_cast<Eigen::Index>(echoes));
        all(own, own) = spread[i];
        if (shapes > 0) {
            all(own, own) += leverage[i] * shape_covariance * leverage[i].transpose();
            all(shared, shared) = shape_covariance;
        }
        std::vector<EchoLimit> limits;
        for (std::size_t k = 0; k < echoes; ++k) {
            const Eigen::Index first = free.count() * static_cast<Eigen::Index>(k);
            limits.push_back(detail::limit_of(
                frames[i][k], free, [&](Eigen::Index j) { return all(first + j, first + j); },
                options));
        }
        out.push_back(std::move(limits));
    }
    return out;
}

}  // namespace echosieve
