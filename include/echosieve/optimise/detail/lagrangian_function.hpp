// The augmented Lagrangian as an objective, and how its multipliers and its penalty move.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/objective.hpp"

namespace echosieve::detail {

// Symbols: those of augmented_lagrangian.hpp.

// L as an objective. It evaluates through the outer search, which counts and remembers.
template <class F, Real R, class Watch>
class LagrangianFunction {
public:
    LagrangianFunction(Search<F, R, Watch>& search, double margin, double penalty)
        : objective_(search.task().objective), search_(search), margin_(margin), penalty_(penalty) {
        Workspace& workspace = search.task().workspace;
        mu_ = workspace.take<double>(search.inequalities().size());
        lambda_ = workspace.take<double>(search.equalities().size());
        best_g_ = workspace.take<R>(mu_.size());
        best_h_ = workspace.take<R>(lambda_.size());
        if constexpr (DifferentiableConstrainedObjective<F, R>) {
            const std::size_t n = search.task().box.dimension();
            jacobian_g_ = workspace.take<R>(mu_.size() * n);
            jacobian_h_ = workspace.take<R>(lambda_.size() * n);
        }
    }

    R operator()(std::span<const R> x) { return lagrangian(search_.evaluate(x)); }

    R value_and_gradient(std::span<const R> x, std::span<R> gradient)
    requires DifferentiableConstrainedObjective<F, R>
    {
        const Merit<R> merit = search_.value_and_gradient(x, gradient);
        const R value = lagrangian(merit);
        if (!is_finite(value)) {
            return value;
        }
        objective_.constraint_jacobian(x, jacobian_g_, jacobian_h_);
        for (std::size_t k = 0; k < x.size(); ++k) {
            double sum = static_cast<double>(gradient[k]);
            for (std::size_t i = 0; i < mu_.size(); ++i) {
                sum += std::max(0.0, mu_[i] + penalty_ * shifted(search_.inequalities()[i])) *
                       static_cast<double>(jacobian_g_[i * x.size() + k]);
            }
            for (std::size_t i = 0; i < lambda_.size(); ++i) {
                sum += (lambda_[i] + penalty_ * static_cast<double>(search_.equalities()[i])) *
                       static_cast<double>(jacobian_h_[i * x.size() + k]);
            }
            gradient[k] = static_cast<R>(sum);
        }
        return value;
    }

    /// Before each minimisation.
    void forget_best() noexcept { best_ = std::numeric_limits<R>::infinity(); }
    /// V at the best point since.
    [[nodiscard]] double lack() const noexcept {
        double largest = 0;
        for (std::size_t i = 0; i < mu_.size(); ++i) {
            largest =
                std::max(largest, std::abs(std::max(shifted(best_g_[i]), -mu_[i] / penalty_)));
        }
        for (const R h : best_h_) {
            largest = std::max(largest, std::abs(static_cast<double>(h)));
        }
        return largest;
    }
    /// What a minimisation need not resolve, as a part of L: a hundredth of what a tenth of the
    /// last V is worth.
    [[nodiscard]] double worthwhile_change(double most, double lack) const noexcept {
        const double size = std::abs(static_cast<double>(best_));
        const double worth = 1e-4 * penalty_ * lack * lack / 2;
        return worth < most * size ? worth / size : most;
    }
    /// By what the best point since shows.
    void update_multipliers() noexcept {
        constexpr double largest = 1e20;
        for (std::size_t i = 0; i < mu_.size(); ++i) {
            mu_[i] = std::clamp(mu_[i] + penalty_ * shifted(best_g_[i]), 0.0, largest);
        }
        for (std::size_t i = 0; i < lambda_.size(); ++i) {
            lambda_[i] = std::clamp(lambda_[i] + penalty_ * static_cast<double>(best_h_[i]),
                                    -largest, largest);
        }
    }
    /// By what that point misses, and half of that.
    void raise_margin(double largest) noexcept {
        double missed = 0;
        for (const R g : best_g_) {
            missed = std::max(missed, static_cast<double>(g));
        }
        margin_ = std::max(margin_, std::min(margin_ + 1.5 * missed, largest));
    }
    [[nodiscard]] double margin() const noexcept { return margin_; }
    void set_margin(double margin) noexcept { margin_ = margin; }
    void raise_penalty(double factor, double largest) noexcept {
        penalty_ = std::max(penalty_, std::min(penalty_ * factor, largest));
    }

private:
    [[nodiscard]] double shifted(R g) const noexcept { return static_cast<double>(g) + margin_; }

    R lagrangian(const Merit<R>& merit) {
        if (!is_finite(merit.value)) {
            return std::numeric_limits<R>::infinity();
        }
        if (penalty_ == 0) {
            penalty_ = first_penalty(static_cast<double>(merit.value));
        }
        double sum = static_cast<double>(merit.value);
        for (std::size_t i = 0; i < mu_.size(); ++i) {
            const double pull =
                std::max(0.0, mu_[i] + penalty_ * shifted(search_.inequalities()[i]));
            sum += (pull * pull - mu_[i] * mu_[i]) / (2 * penalty_);
        }
        for (std::size_t i = 0; i < lambda_.size(); ++i) {
            const double h = static_cast<double>(search_.equalities()[i]);
            sum += h * (lambda_[i] + penalty_ * h / 2);
        }
        const R value = static_cast<R>(sum);
        if (value < best_) {
            best_ = value;
            std::ranges::copy(search_.inequalities(), best_g_.begin());
            std::ranges::copy(search_.equalities(), best_h_.begin());
        }
        return value;
    }
    [[nodiscard]] double first_penalty(double value) const noexcept {
        double squares = 0;
        for (const R g : search_.inequalities()) {
            squares += std::pow(std::max(0.0, static_cast<double>(g)), 2);
        }
        for (const R h : search_.equalities()) {
            squares += std::pow(static_cast<double>(h), 2);
        }
        constexpr double least = 1e-6;
        constexpr double most = 10;
        return squares > 0 ? std::clamp(2 * std::abs(value) / squares, least, most) : most;
    }

    F& objective_;
    Search<F, R, Watch>& search_;
    double margin_;
    double penalty_;
    std::span<double> mu_;
    std::span<double> lambda_;
    std::span<R> best_g_;
    std::span<R> best_h_;
    std::span<R> jacobian_g_;
    std::span<R> jacobian_h_;
    R best_ = std::numeric_limits<R>::infinity();
};

}  // namespace echosieve::detail
