// The normal distribution that covariance matrix adaptation draws from, and how it learns.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/covariance_weights.hpp"
#include "echosieve/optimise/detail/symmetric_eigen.hpp"

namespace echosieve::detail {

// Symbols
//   m, sigma, C   mean, step and covariance: points are m + sigma y, y ~ N(0, C)
//   B, D          C = B D^2 B', B orthogonal, D diagonal
//   z             N(0, I);  y = B D z
//   y_i, w_i      the i-th best y and its weight;  y_w = sum of w_i y_i over the parents
//   p_sigma, p_c  paths: where the mean went lately, without and with the shape of C
// (Hansen 2016, arXiv:1604.00772; its equations from memory.)
class CovarianceDistribution {
public:
    // Of dimension n, for `population` points at a time.
    CovarianceDistribution(std::size_t n, std::size_t population, Workspace& workspace)
        : n_(n),
          population_(population),
          weights_(workspace.take<double>(population)),
          constants_(covariance_constants(n, weights_)),
          mean_(workspace.take<double>(n)),
          steps_(workspace.take<double>(population * n)),
          covariance_(workspace.take<double>(n * n)),
          axes_(workspace.take<double>(n * n)),
          lengths_(workspace.take<double>(n, 1.0)),
          step_path_(workspace.take<double>(n)),
          shape_path_(workspace.take<double>(n)),
          way_(workspace.take<double>(n)),
          scratch_(workspace.take<double>(n * n)) {
        for (std::size_t k = 0; k < n; ++k) {
            covariance_[k * n + k] = axes_[k * n + k] = 1;
        }
        const double rate = constants_.rank_one_rate + constants_.rank_mu_rate;
        decompose_every_ = std::max<std::size_t>(
            1, static_cast<std::size_t>(1 / (10 * static_cast<double>(n) * rate)));
    }

    [[nodiscard]] std::span<double> mean() noexcept { return mean_; }
    [[nodiscard]] double step() const noexcept { return step_; }
    void set_step(double sigma) noexcept { step_ = sigma; }
    [[nodiscard]] const CovarianceConstants& constants() const noexcept { return constants_; }
    [[nodiscard]] std::span<const double> covariance() const noexcept { return covariance_; }

    // Draws y of point i.
    void draw(std::size_t i, RandomStream& stream) {
        const std::span<double> y = steps_.subspan(i * n_, n_);
        std::ranges::fill(y, 0.0);
        for (std::size_t j = 0; j < n_; ++j) {
            const double z = lengths_[j] * stream.normal();
            for (std::size_t k = 0; k < n_; ++k) {
                y[k] += axes_[k * n_ + j] * z;
            }
        }
    }
    // Coordinate k of point i.
    [[nodiscard]] double point(std::size_t i, std::size_t k) const noexcept {
        return mean_[k] + step_ * steps_[i * n_ + k];
    }
    // Whether point i lies in the unit cube.
    [[nodiscard]] bool inside(std::size_t i) const noexcept {
        bool in = true;
        for (std::size_t k = 0; k < n_; ++k) {
            in = in && point(i, k) >= 0 && point(i, k) <= 1;
        }
        return in;
    }

    // Learns from all points that were drawn; `order`: their indices from best to worst. False if C
    // is no longer finite and positive definite: then the distribution is of no more use.
    [[nodiscard]] bool learn(std::span<const std::size_t> order) {
        ++generation_;
        move_mean(order);
        const bool steady = follow_paths();
        adapt_covariance(order, steady);
        const double c_sigma = constants_.step_rate;
        const double excess = length(step_path_) / constants_.expected_length - 1;
        step_ *= std::exp(std::min(1.0, c_sigma / constants_.step_damping * excess));
        return is_finite(step_) && (generation_ % decompose_every_ != 0 || decompose());
    }
    // The step grows as if the path were long: for values that tell nothing.
    void widen() noexcept {
        step_ *= std::exp(0.2 + constants_.step_rate / constants_.step_damping);
    }

    [[nodiscard]] double longest_axis() const noexcept {
        return *std::ranges::max_element(lengths_);
    }
    // Of C: the ratio of the greatest to the least eigenvalue.
    [[nodiscard]] double condition() const noexcept {
        const auto [least, greatest] = std::ranges::minmax(lengths_);
        return (greatest / least) * (greatest / least);
    }
    // The greatest of sigma sqrt(C_kk) and sigma |p_c|_k: by how much a coordinate may yet change.
    [[nodiscard]] double reach() const noexcept {
        double most = 0;
        for (std::size_t k = 0; k < n_; ++k) {
            most = std::max({most, std::sqrt(covariance_[k * n_ + k]), std::abs(shape_path_[k])});
        }
        return step_ * most;
    }

private:
    [[nodiscard]] static double length(std::span<const double> x) noexcept {
        double squares = 0;
        for (const double v : x) {
            squares += v * v;
        }
        return std::sqrt(squares);
    }

    // m <- m + sigma y_w
    void move_mean(std::span<const std::size_t> order) {
        std::ranges::fill(way_, 0.0);
        for (std::size_t i = 0; i < constants_.parents; ++i) {
            for (std::size_t k = 0; k < n_; ++k) {
                way_[k] += weights_[i] * steps_[order[i] * n_ + k];
            }
        }
        for (std::size_t k = 0; k < n_; ++k) {
            mean_[k] += step_ * way_[k];
        }
    }
    // p_sigma <- (1 - c_sigma) p_sigma + sqrt(c_sigma (2 - c_sigma) mu_eff) C^(-1/2) y_w, and p_c
    // alike with y_w itself, unless p_sigma is long (h_sigma, returned): a step that is about to
    // grow must not stretch C.
    [[nodiscard]] bool follow_paths() {
        const double c_sigma = constants_.step_rate;
        const double c_c = constants_.path_rate;
        const double mu_eff = constants_.effective_parents;
        for (double& v : step_path_) {
            v *= 1 - c_sigma;
        }
        const double gain = std::sqrt(c_sigma * (2 - c_sigma) * mu_eff);
        for (std::size_t j = 0; j < n_; ++j) {
            const double along = whitened(way_, j);
            for (std::size_t k = 0; k < n_; ++k) {
                step_path_[k] += gain * along * axes_[k * n_ + j];
            }
        }
        const double n = static_cast<double>(n_);
        const double settled = 1 - std::pow(1 - c_sigma, 2 * static_cast<double>(generation_));
        const bool steady = length(step_path_) <
                            (1.4 + 2 / (n + 1)) * constants_.expected_length * std::sqrt(settled);
        for (std::size_t k = 0; k < n_; ++k) {
            shape_path_[k] = (1 - c_c) * shape_path_[k] +
                             (steady ? std::sqrt(c_c * (2 - c_c) * mu_eff) * way_[k] : 0.0);
        }
        return steady;
    }
    // C <- (1 - c_1 - c_mu sum of w) C + c_1 p_c p_c' + c_mu sum of w_i y_i y_i'; the points of
    // negative weight are taken at the length n in units of C.
    void adapt_covariance(std::span<const std::size_t> order, bool steady) {
        const double c_1 = constants_.rank_one_rate;
        const double c_mu = constants_.rank_mu_rate;
        const double c_c = constants_.path_rate;
        double sum = 0;
        for (const double w : weights_) {
            sum += w;
        }
        const double kept = 1 - c_1 - c_mu * sum + (steady ? 0 : c_1 * c_c * (2 - c_c));
        for (double& c : covariance_) {
            c *= kept;
        }
        add_outer(c_1, shape_path_);
        for (std::size_t i = 0; i < population_; ++i) {
            const std::span<const double> y = steps_.subspan(order[i] * n_, n_);
            double weight = weights_[i];
            if (weight < 0) {
                double squares = 0;
                for (std::size_t j = 0; j < n_; ++j) {
                    const double z = whitened(y, j);
                    squares += z * z;
                }
                weight *= squares > 0 ? static_cast<double>(n_) / squares : 0.0;
            }
            add_outer(c_mu * weight, y);
        }
    }
    // (D^-1 B' y)_j
    [[nodiscard]] double whitened(std::span<const double> y, std::size_t j) const noexcept {
        double along = 0;
        for (std::size_t k = 0; k < n_; ++k) {
            along += axes_[k * n_ + j] * y[k];
        }
        return along / lengths_[j];
    }
    void add_outer(double weight, std::span<const double> y) noexcept {
        for (std::size_t r = 0; r < n_; ++r) {
            for (std::size_t c = 0; c < n_; ++c) {
                covariance_[r * n_ + c] += weight * (y[r] * y[c]);  // symmetric to the last bit
            }
        }
    }
    [[nodiscard]] bool decompose() {
        std::ranges::copy(covariance_, scratch_.begin());
        if (!symmetric_eigen(scratch_, axes_, n_)) {
            return false;
        }
        bool definite = true;
        for (std::size_t k = 0; k < n_; ++k) {
            const double square = scratch_[k * n_ + k];
            definite = definite && square > 0;
            lengths_[k] = std::sqrt(std::max(square, 0.0));
        }
        return definite;
    }

    std::size_t n_;
    std::size_t population_;
    std::span<double> weights_;
    CovarianceConstants constants_;
    std::span<double> mean_;
    std::span<double> steps_;  // y, [point][coordinate]
    std::span<double> covariance_;
    std::span<double> axes_;     // B
    std::span<double> lengths_;  // D
    std::span<double> step_path_;
    std::span<double> shape_path_;
    std::span<double> way_;  // y_w
    std::span<double> scratch_;
    double step_ = 1;
    std::size_t generation_ = 0;
    std::size_t decompose_every_ = 1;
};

}  // namespace echosieve::detail
