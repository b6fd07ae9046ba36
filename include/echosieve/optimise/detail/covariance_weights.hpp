// The constants of covariance matrix adaptation.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <span>

#include "echosieve/core/error.hpp"

namespace echosieve {

// Symbols
//   n         dimension;  lambda  population;  mu = lambda / 2, parents
//   w'_i = ln((lambda + 1) / 2) - ln i,  i = 1 (the best) ... lambda
//   mu_eff = (sum of w')^2 / sum of w'^2 over i <= mu;  mu_eff-  the same over i > mu
//   c_sigma, d_sigma, c_c, c_1, c_mu  rates, see below
//   chi_n     E|N(0, I)| = sqrt(2) Gamma((n + 1) / 2) / Gamma(n / 2)
// All from Hansen 2016, The CMA evolution strategy: a tutorial, arXiv:1604.00772, table 1 (from
// memory).

/// What the update of the distribution goes by.
struct CovarianceConstants {
    std::size_t parents = 0;       ///< mu
    double effective_parents = 0;  ///< mu_eff, 1 to mu
    double step_rate = 0;          ///< c_sigma = (mu_eff + 2) / (n + mu_eff + 5)
    /// d_sigma = 1 + 2 max(0, sqrt((mu_eff - 1) / (n + 1)) - 1) + c_sigma
    double step_damping = 0;
    double path_rate = 0;      ///< c_c = (4 + mu_eff / n) / (n + 4 + 2 mu_eff / n)
    double rank_one_rate = 0;  ///< c_1 = 2 / ((n + 1.3)^2 + mu_eff)
    /// c_mu = min(1 - c_1, 2 (mu_eff - 2 + 1 / mu_eff) / ((n + 2)^2 + mu_eff))
    double rank_mu_rate = 0;
    double expected_length = 0;  ///< chi_n
};

/// 4 + floor(3 ln n).
[[nodiscard]] inline std::size_t usual_population(std::size_t dimension) noexcept {
    return 4 + static_cast<std::size_t>(3 * std::log(static_cast<double>(dimension)));
}

/// sqrt(2) Gamma((n + 1) / 2) / Gamma(n / 2), to n roundings: chi_1 = sqrt(2 / pi), chi_n chi_(n+1)
/// = n.
[[nodiscard]] inline double expected_normal_length(std::size_t n) noexcept {
    double chi = std::sqrt(2 / std::numbers::pi);
    for (std::size_t k = 1; k < n; ++k) {
        chi = static_cast<double>(k) / chi;
    }
    return chi;
}

/// Writes the weights of the points from best to worst, as many as there are: those of the parents
/// sum to 1; the others are negative, so that C shrinks where bad points lie, but never so far that
/// it loses its definiteness. Throws InvalidInput for dimension 0 or fewer than 3 weights.
[[nodiscard]] inline CovarianceConstants covariance_constants(std::size_t dimension,
                                                              std::span<double> weights) {
    require(dimension >= 1, "dimension", dimension, "must be at least 1");
    require(weights.size() >= 3, "population", weights.size(), "must be at least 3");
    const double n = static_cast<double>(dimension);
    const double lambda = static_cast<double>(weights.size());
    CovarianceConstants out;
    out.parents = weights.size() / 2;
    double sum[2] = {0, 0};  // of the parents, of the others
    double squares[2] = {0, 0};
    for (std::size_t i = 0; i < weights.size(); ++i) {
        weights[i] = std::log((lambda + 1) / 2) - std::log(static_cast<double>(i + 1));
        const std::size_t side = i < out.parents ? 0 : 1;
        sum[side] += weights[i];
        squares[side] += weights[i] * weights[i];
    }
    const double mu_eff = sum[0] * sum[0] / squares[0];
    const double other_mu_eff = sum[1] * sum[1] / squares[1];
    out.effective_parents = mu_eff;
    out.step_rate = (mu_eff + 2) / (n + mu_eff + 5);
    out.step_damping = 1 + 2 * std::max(0.0, std::sqrt((mu_eff - 1) / (n + 1)) - 1) + out.step_rate;
    out.path_rate = (4 + mu_eff / n) / (n + 4 + 2 * mu_eff / n);
    out.rank_one_rate = 2 / ((n + 1.3) * (n + 1.3) + mu_eff);
    out.rank_mu_rate = std::min(1 - out.rank_one_rate,
                                2 * (mu_eff - 2 + 1 / mu_eff) / ((n + 2) * (n + 2) + mu_eff));
    out.expected_length = expected_normal_length(dimension);
    // The least of: as much shrinking as growing, the others' share of it, and what leaves C
    // definite.
    const double c_mu = out.rank_mu_rate;
    double negative = 0;  // sum of the negative weights, without sign
    if (c_mu > 0) {
        negative = std::min({1 + out.rank_one_rate / c_mu, 1 + 2 * other_mu_eff / (mu_eff + 2),
                             (1 - out.rank_one_rate - c_mu) / (n * c_mu)});
    }
    for (std::size_t i = 0; i < weights.size(); ++i) {
        weights[i] *= i < out.parents ? 1 / sum[0] : negative / -sum[1];
    }
    return out;
}

}  // namespace echosieve
