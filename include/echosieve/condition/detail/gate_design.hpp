// Filters from a gate's raw samples to analytic ones, right up to the gate's ends, and how much
// each result counts.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

// Symbols
//   x_n  raw sample number n, x = Re z;   z analytic signal;   D decimation;   f_m centre frequency
//   rho(tau) = exp(-(pi b tau)^2 / (8 ln 10^0.3) + i 2 pi f_m tau)
//            autocorrelation of z, echoes of bandwidth b at random places
//   lambda, kappa   variances of white noise and of an offset, over that of the echoes
//   h_m = (Re rho(t_n - t_k) + lambda delta_nk + kappa)^-1 rho(t_mD - t_n)    z_mD = sum_n h_mn x_n
//   w_m  minimise  E |x - sum_m w_m Re conj(h_m) z_mD|^2
//
// h is the best linear estimate from the samples in reach (Wiener 1949). Within the gate all m
// share one h, a band-pass. Where the window would leave the gate it stays inside, and h is
// another: so an echo that the gate cuts comes out as it is, where a filter over zeros would fade
// it.
//
// w makes sums over the results stand for sums over the raw samples: a least-squares fit to the
// z_mD, each counted w_m times, is then the fit to x, noise included. The estimates near the gate's
// ends are noisy, and their noise is the same; a fit that counted all alike would be led by it.

struct GateBasebandOptions {
    double rate = 8;         ///< lowest rate of the result, in sensor bandwidths
    double bandwidth = 1.5;  ///< b, in sensor bandwidths: what is narrower passes unchanged
    double reach = 1;        ///< of the filters to each side, in 1 / sensor bandwidth
    double noise = 1e-3;     ///< lambda: less follows the echoes more closely at the gate's ends,
                             ///< and takes up more noise there
};

inline void validate(const GateBasebandOptions& options) {
    require(options.rate > 0 && is_finite(options.rate), "rate", options.rate,
            "must be positive and finite [sensor bandwidths]");
    require(options.bandwidth > 0 && is_finite(options.bandwidth), "bandwidth", options.bandwidth,
            "must be positive and finite [sensor bandwidths]");
    require(options.reach > 0 && is_finite(options.reach), "reach", options.reach,
            "must be positive and finite [1 / bandwidth]");
    detail::require_at_most(options.bandwidth, largest_option::factor, "bandwidth",
                            "[sensor bandwidths]");
    require(options.noise >= 1e-12 && options.noise < 1, "noise", options.noise,
            "must lie in [1e-12, 1)");
}

namespace detail {

// Tables of the design hold no more numbers than this (320 MB): a gate is short.
inline constexpr double most_design_values = 2e7;

/// The numbers above for gates of `samples` at `rate` [Hz], every step-th sample kept, computed in
/// R. Throws InvalidInput for gates so long that the tables would hold more than
/// most_design_values.
template <Real R>
class GateDesign {
public:
    GateDesign(std::size_t samples, double rate, std::size_t step, const Sensor& sensor,
               const GateBasebandOptions& options)
        : samples_(samples),
          step_(step),
          kept_((samples + step - 1) / step),
          root_(std::numbers::pi * options.bandwidth * sensor.bandwidth / rate),
          turns_(sensor.centre_frequency / rate) {
        const auto half = static_cast<std::size_t>(std::min(
            std::ceil(options.reach * rate / sensor.bandwidth), static_cast<double>(samples)));
        window_ = std::min(2 * half + 1, samples);
        const double values = static_cast<double>(std::max(samples_, window_)) *
                              static_cast<double>(std::max(kept_, window_));
        if (!(values <= most_design_values)) {
            require(false, "count", samples,
                    concatenate("must be less: filters of ", window_, " taps for ", kept_,
                                " samples make tables of ", values, " numbers, not more than ",
                                most_design_values, " are meant"));
        }
        design_filters(half, options.noise);
        weigh();
    }

    [[nodiscard]] std::size_t kept() const noexcept { return kept_; }
    [[nodiscard]] std::size_t window() const noexcept { return window_; }
    /// First raw sample of the window of result m.
    [[nodiscard]] std::size_t first(std::size_t m) const noexcept { return first_[m]; }
    /// Number of the filter of result m: results share filters.
    [[nodiscard]] std::size_t filter(std::size_t m) const noexcept { return filter_[m]; }
    /// The filters, each of `window` taps.
    [[nodiscard]] const std::vector<Eigen::VectorX<std::complex<R>>>& filters() const noexcept {
        return filters_;
    }
    /// w of each result, in units of the largest.
    [[nodiscard]] const std::vector<double>& weights() const noexcept { return weights_; }

private:
    static constexpr double offset_variance = 10;  // kappa
    // Pull of the weights towards equal ones, where many do as well.
    static constexpr double evenness = 0.1;
    static constexpr double least_weight = 0.01;

    // rho of a difference of raw samples.
    [[nodiscard]] std::complex<R> rho(double apart) const noexcept {
        const double turns = turns_ * apart;
        return std::complex<R>(
            std::polar(std::exp(-root_ * root_ * apart * apart / (2.4 * std::numbers::ln10)),
                       2 * std::numbers::pi * (turns - std::nearbyint(turns))));
    }

    void design_filters(std::size_t half, double noise) {
        const auto size = static_cast<Eigen::Index>(window_);
        Eigen::MatrixX<R> matrix(size, size);
        for (Eigen::Index i = 0; i < size; ++i) {
            for (Eigen::Index k = 0; k < size; ++k) {
                matrix(i, k) = rho(static_cast<double>(i - k)).real() + R{offset_variance};
            }
            matrix(i, i) += static_cast<R>(noise);
        }
        const Eigen::LLT<Eigen::MatrixX<R>> factor(matrix);
        const std::size_t none = kept_;
        std::vector<std::size_t> known(window_, none);  // by the result's place in its window
        for (std::size_t m = 0; m < kept_; ++m) {
            const std::size_t at = m * step_;
            first_.push_back(std::min(at > half ? at - half : 0, samples_ - window_));
            std::size_t& number = known[at - first_.back()];
            if (number == none) {
                number = filters_.size();
                Eigen::MatrixX<R> right(size, 2);
                for (Eigen::Index k = 0; k < size; ++k) {
                    const auto r =
                        rho(static_cast<double>(at - first_.back()) - static_cast<double>(k));
                    right(k, 0) = r.real();
                    right(k, 1) = r.imag();
                }
                const Eigen::MatrixX<R> h = factor.solve(right);
                filters_.push_back(h.col(0) + std::complex<R>(0, 1) * h.col(1));
            }
            filter_.push_back(number);
        }
    }

    void weigh() {
        const auto count = static_cast<Eigen::Index>(kept_);
        const auto size = static_cast<Eigen::Index>(window_);
        Eigen::MatrixX<std::complex<R>> taps =
            Eigen::MatrixX<std::complex<R>>::Zero(static_cast<Eigen::Index>(samples_), count);
        Eigen::VectorX<R> right = Eigen::VectorX<R>::Zero(count);
        for (Eigen::Index m = 0; m < count; ++m) {
            const auto number = static_cast<std::size_t>(m);
            const auto first = static_cast<Eigen::Index>(first_[number]);
            const Eigen::VectorX<std::complex<R>>& h = filters_[filter_[number]];
            taps.col(m).segment(first, size) = h;
            for (Eigen::Index k = 0; k < size; ++k) {
                const double at = static_cast<double>(number * step_);
                right[m] += (std::conj(h[k]) * rho(at - static_cast<double>(first + k))).real();
            }
        }
        const Eigen::MatrixX<std::complex<R>> products = taps.adjoint() * taps;
        Eigen::MatrixX<R> matrix(count, count);
        for (Eigen::Index i = 0; i < count; ++i) {
            for (Eigen::Index k = 0; k < count; ++k) {
                const auto apart = static_cast<double>(i - k) * static_cast<double>(step_);
                matrix(i, k) = (products(i, k) * rho(apart)).real();
            }
        }
        const Eigen::VectorX<R> pull = static_cast<R>(evenness) * matrix.diagonal();
        const R equal = right.sum() / matrix.sum();
        matrix.diagonal() += pull;
        const Eigen::VectorX<R> w = matrix.ldlt().solve(right + equal * pull);
        for (Eigen::Index m = 0; m < count; ++m) {
            weights_.push_back(
                std::clamp(static_cast<double>(w[m] / w.maxCoeff()), least_weight, 1.0));
        }
    }

    std::size_t samples_;
    std::size_t step_;
    std::size_t kept_;
    double root_;
    double turns_;
    std::size_t window_ = 0;
    std::vector<std::size_t> first_;
    std::vector<std::size_t> filter_;
    std::vector<Eigen::VectorX<std::complex<R>>> filters_;
    std::vector<double> weights_;
};

}  // namespace detail
}  // namespace echosieve
