// How many echoes a signal holds: where to cut a pursuit, by an information criterion or by the
// evidence of its echoes.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <span>
#include <utility>
#include <vector>

#include "echosieve/atoms/fisher_information.hpp"
#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/dictionary/atom_box.hpp"

namespace echosieve {

// Symbols
//   N       real values in the signal: samples, or twice the complex ones
//   RSS_K   energy that the first K echoes leave;  sigma^2 variance of a sample's noise
//   F_K     Fisher information of the first K echoes in (tau, f, B, ln |a|, arg a)
//   V       volume that an echo's parameters may lie in, in the same coordinates
//
// Bayesian information criterion (Schwarz 1978, Annals of Statistics 6:461-464), sigma unknown:
//   score(K) = -N ln RSS_K - p K ln N,   p = 5 real parameters an echo
// Evidence by Laplace's approximation (MacKay 2003, Information Theory, Inference, and Learning
// Algorithms, ch. 28), sigma known, the prior over a range W of each parameter taken as a Gaussian
// of its height, so that a parameter the data don't know counts as its range and not as more:
//   score(K) = -RSS_K / sigma^2 (twice that for complex samples)
//              - ln det(F_K + diag(2 pi / W^2)) + 5 K ln(2 pi) - 2 K ln V
// Both are twice a logarithm of a likelihood; the larger the better. The information of an echo
// grows with its energy and not with the signal's length, so that p ln N is a convention here and
// the evidence is not; det F_1 = eta^5 pi^2 / (2 B^2).

struct EchoCount {
    std::size_t count = 0;       ///< of echoes, with the highest score
    std::vector<double> scores;  ///< for 0, 1, 2 ... echoes
};

/// What is believed of an echo before the signal is seen.
struct EchoPrior {
    GaborBox box;                   ///< of arrival, centre frequency and bandwidth; ranges of no
                                    ///< width are known and count as no parameter
    double amplitude_range = 1000;  ///< largest over smallest |a|, even in its logarithm
};

inline void validate(const EchoPrior& prior) {
    validate(prior.box);
    require(prior.amplitude_range > 1 && is_finite(prior.amplitude_range), "amplitude_range",
            prior.amplitude_range, "must exceed 1 and be finite");
}

namespace detail {

inline void require_energies(std::span<const double> energies) {
    require(!energies.empty(), "number of energies", energies.size(),
            "must be at least 1: the signal's own");
    for (const double energy : energies) {
        require(energy >= 0 && is_finite(energy), "energy", energy,
                "must be zero or more and finite");
    }
}

[[nodiscard]] inline EchoCount highest(std::vector<double> scores) {
    EchoCount out;
    for (std::size_t k = 1; k < scores.size(); ++k) {
        out.count = scores[k] > scores[out.count] ? k : out.count;
    }
    out.scores = std::move(scores);
    return out;
}

}  // namespace detail

/// By the information criterion. `energies` are RSS_0 (the signal's energy), RSS_1, ...; `values`
/// is N. Throws InvalidInput for energies that are negative or not finite, or none, or values < 2.
[[nodiscard]] inline EchoCount count_by_information(std::span<const double> energies,
                                                    std::size_t values, double parameters = 5) {
    detail::require_energies(energies);
    require(values >= 2, "values", values, "must be at least 2");
    require(parameters >= 0, "parameters", parameters, "must be zero or more");
    const auto n = static_cast<double>(values);
    std::vector<double> scores;
    for (std::size_t k = 0; k < energies.size(); ++k) {
        scores.push_back(-n * std::log(std::max(energies[k], std::numeric_limits<double>::min())) -
                         parameters * static_cast<double>(k) * std::log(n));
    }
    return detail::highest(std::move(scores));
}

namespace detail {

// Widths of the parameters that are unknown, in the information's order.
[[nodiscard]] inline std::vector<double> unknown_ranges(const EchoPrior& prior) {
    const GaborBox& box = prior.box;
    std::vector<double> out;
    for (const double range :
         {box.arrival.length(), box.centre_frequency.width(), box.bandwidth.width(),
          std::log(prior.amplitude_range), 2 * std::numbers::pi}) {
        if (range > 0) {
            out.push_back(range);
        }
    }
    return out;
}

// ln det of a symmetric matrix, infinite if it is not positive definite: two echoes that are one
// and the same, of which nothing is gained by the second.
template <class Matrix>
[[nodiscard]] double log_determinant(const Matrix& matrix) {
    if (matrix.rows() == 0) {
        return 0;
    }
    const auto scale = matrix.diagonal().cwiseSqrt().eval();
    const auto inverse = scale.cwiseInverse().eval();
    const Eigen::LLT<Matrix> factor(inverse.asDiagonal() * matrix * inverse.asDiagonal());
    return factor.info() == Eigen::Success
               ? 2 * (scale.array().log().sum() + factor.matrixLLT().diagonal().array().log().sum())
               : std::numeric_limits<double>::infinity();
}

}  // namespace detail

/// By the evidence. `energies` as above, one more than `echoes`, which are those of an orthogonal
/// pursuit in the order of their choice, refined or not. Throws InvalidInput as above, for invalid
/// echoes, prior or noise, or unless the energies are one more than the echoes.
template <Atom A>
[[nodiscard]] EchoCount count_by_evidence(std::span<const double> energies,
                                          std::span<const Echo<A>> echoes, const EchoPrior& prior,
                                          const SampledNoise& noise) {
    detail::require_energies(energies);
    validate(prior);
    validate(noise);
    require(energies.size() == echoes.size() + 1, "number of energies", energies.size(),
            detail::concatenate("must be one more than the echoes, ", echoes.size()));
    const FreeParameters free{.arrival = prior.box.arrival.length() > 0,
                              .centre_frequency = prior.box.centre_frequency.width() > 0,
                              .bandwidth = prior.box.bandwidth.width() > 0};
    const std::vector<double> ranges = detail::unknown_ranges(prior);
    double volume = 0;
    for (const double range : ranges) {
        volume += std::log(range);
    }
    auto all = fisher_information(echoes, free, noise);
    for (Eigen::Index k = 0; k < all.rows(); ++k) {
        const double range = ranges[static_cast<std::size_t>(k) % ranges.size()];
        all(k, k) += 2 * std::numbers::pi / (range * range);
    }
    const double per_energy = (noise.complex_samples ? 2 : 1) / (noise.deviation * noise.deviation);
    std::vector<double> scores;
    for (std::size_t k = 0; k < energies.size(); ++k) {
        const auto count = static_cast<double>(k);
        const Eigen::Index rows = free.count() * static_cast<Eigen::Index>(k);
        const decltype(all) part = all.topLeftCorner(rows, rows);
        scores.push_back(-per_energy * energies[k] - detail::log_determinant(part) +
                         static_cast<double>(rows) * std::log(2 * std::numbers::pi) -
                         2 * count * volume);
    }
    return detail::highest(std::move(scores));
}

/// The energies that the counts above ask for, of a pursuit's result.
template <class Result>
[[nodiscard]] std::vector<double> remaining_energies(const Result& result) {
    std::vector<double> out{static_cast<double>(result.signal_energy)};
    for (const auto energy : result.residual_energy) {
        out.push_back(static_cast<double>(energy));
    }
    return out;
}

}  // namespace echosieve
