// Constraints for optimisers that know none: a sequence of problems without them.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <type_traits>
#include <utility>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/constraints.hpp"
#include "echosieve/optimise/detail/part_run.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/gradient.hpp"
#include "echosieve/optimise/limits.hpp"
#include "echosieve/optimise/quasi_newton.hpp"
#include "echosieve/optimise/workspace.hpp"

namespace echosieve {

// Symbols (those of constraints.hpp, and)
//   mu, lambda   multipliers of g (>= 0) and h;  rho  penalty;  delta  margin of g
//   L(x) = f + sum of (max(0, mu + rho (g + delta))^2 - mu^2) / 2 rho + lambda h + rho h^2 / 2
//   V      largest |h| and |max(g + delta, -mu / rho)|: what feasibility and complementarity lack
// The form of Powell, Hestenes and Rockafellar. An iteration minimises L over the box from the last
// minimiser; then mu <- max(0, mu + rho (g + delta)), lambda <- lambda + rho h, and rho grows where
// V did not fall by a factor: Birgin and Martinez 2014, Practical Augmented Lagrangian Methods,
// algorithm 4.1; compare Nocedal and Wright 2006, algorithm 17.4 (both from memory).

/// Minimises a ConstrainedObjective by an optimiser that knows the box only. Each evaluation is one
/// of the objective and its constraints. Gradients come from a DifferentiableConstrainedObjective,
/// and are left to the inner optimiser otherwise. The result is the best point that was evaluated,
/// by Deb's rules: where equalities are, it makes use of their tolerance.
template <class Inner = QuasiNewton>
requires LimitedOptimiser<Inner>
struct AugmentedLagrangian {
    std::size_t iterations = 40;  ///< minimisations of L
    Inner inner{};                ///< its limits hold for each of these
    double initial_penalty = 0;   ///< rho > 0; or 0: 2 |f| / |violated g, h|^2 at the start, from
                                  ///< 1e-6 to 10
    double penalty_growth = 10;   ///< of rho, > 1
    double largest_penalty = 1e12;
    double required_fall = 0.5;  ///< of V, a factor in (0, 1), or else rho grows
    /// delta >= 0 [unit of g], so that ends are feasible. Grows up to a hundred times as large
    /// where the minimisations prove less accurate than that.
    double margin = 1e-8;
    double feasibility_tolerance = 1e-8;  ///< ends at V <= it, at a minimiser of L [unit of g, h]
    /// Ends when the last two minima of L differ by <= value_tolerance * the larger modulus, and
    /// the last minimiser is feasible.
    double value_tolerance = 1e-10;
    double target = -std::numeric_limits<double>::infinity();  ///< this and the next: see Limits
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();  ///< >= 1

    /// `start` as the inner optimiser takes it. Throws InvalidInput for invalid options of this or
    /// the inner optimiser, a start of another dimension or with a NaN, or a box whose width is not
    /// finite.
    /// Once the workspace has its size, a run allocates its result and
    /// what the inner runs allocate.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R> && Optimiser<Inner, R>
    [[nodiscard]] OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                             std::type_identity_t<std::span<const R>> start,
                                             Watch& observer, Workspace& workspace) const;
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
template <class Inner>
void validate(const AugmentedLagrangian<Inner>& options) {
    require(options.initial_penalty >= 0 && is_finite(options.initial_penalty), "initial_penalty",
            options.initial_penalty, "must be zero or more and finite");
    require(options.penalty_growth > 1 && is_finite(options.penalty_growth), "penalty_growth",
            options.penalty_growth, "must exceed 1 and be finite");
    require(options.largest_penalty > 0 && is_finite(options.largest_penalty), "largest_penalty",
            options.largest_penalty, "must be positive and finite");
    require(options.required_fall > 0 && options.required_fall < 1, "required_fall",
            options.required_fall, "must lie in (0, 1)");
    require(options.margin >= 0 && is_finite(options.margin), "margin", options.margin,
            "must be zero or more and finite");
    require(options.feasibility_tolerance >= 0, "feasibility_tolerance",
            options.feasibility_tolerance, "must be zero or more");
    require(options.value_tolerance >= 0, "value_tolerance", options.value_tolerance,
            "must be zero or more");
    validate(options.inner);
    validate(limits_of(options), 1);
}

namespace detail {

[[nodiscard]] constexpr bool converged(OptimiseStatus status) noexcept {
    return status == OptimiseStatus::converged_gradient ||
           status == OptimiseStatus::converged_step || status == OptimiseStatus::converged_value ||
           status == OptimiseStatus::stagnated;
}

// L as an objective. It evaluates through the outer search, which counts and remembers.
template <class F, Real R, class Watch>
class LagrangianFunction {
public:
    LagrangianFunction(F& objective, Search<R, F, Watch>& search, std::size_t n, double margin,
                       double penalty, Workspace& workspace)
        : objective_(objective),
          search_(search),
          margin_(margin),
          penalty_(penalty),
          mu_(workspace.take<double>(search.inequalities().size())),
          lambda_(workspace.take<double>(search.equalities().size())),
          best_g_(workspace.take<R>(mu_.size())),
          best_h_(workspace.take<R>(lambda_.size())) {
        if constexpr (DifferentiableConstrainedObjective<F, R>) {
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
    Search<R, F, Watch>& search_;
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

}  // namespace detail

template <class Inner>
requires LimitedOptimiser<Inner>
template <class F, Real R, class Watch>
requires Objective<F, R> && Observer<Watch, R> && Optimiser<Inner, R>
OptimiseResult<R> AugmentedLagrangian<Inner>::minimise(
    F& objective, const Box<R>& box, std::uint64_t seed,
    std::type_identity_t<std::span<const R>> start, Watch& observer, Workspace& workspace) const {
    static_assert(ConstrainedObjective<F, R>,
                  "AugmentedLagrangian needs an objective with constraints: see "
                  "ConstrainedObjective and Constrained in constraints.hpp");
    validate(*this);
    detail::check_search_input(box, start);
    const Workspace::Scope scope(workspace);
    detail::Search<R, F, Watch> search(objective, box, limits_of(*this), observer, workspace);
    const double rounding = static_cast<double>(std::numeric_limits<R>::epsilon());
    detail::LagrangianFunction<F, R, Watch> lagrangian(objective, search, box.dimension(),
                                                       std::max(margin, margin > 0 ? rounding : 0),
                                                       initial_penalty, workspace);
    const auto at_target = [&](const Progress<R>&) {
        return search.target_reached() ? Control::stop : Control::go_on;
    };
    std::size_t memory = 0;
    if constexpr (requires { inner.memory; }) {
        memory = inner.memory;
    }
    detail::check_population<R>("memory", memory, box.dimension());
    LimitedMemory pairs(memory, box.dimension(), workspace);
    const auto run_inner = [&](const Inner& optimiser, std::span<const R> from) {
        // From one L to the next the curvature changes little: what was learnt is kept, if it can.
        if constexpr (requires {
                          optimiser.minimise(lagrangian, box, seed, from, at_target, workspace,
                                             pairs);
                      }) {
            return optimiser.minimise(lagrangian, box, seed, from, at_target, workspace, pairs);
        } else {
            return minimise_in(workspace, lagrangian, box, optimiser, seed, from, at_target);
        }
    };

    const std::span<R> x = workspace.take<R>(box.dimension());
    for (std::size_t k = 0; k < x.size(); ++k) {
        const R at = start.empty() ? box.lower(k) + box.width(k) / 2 : start[k];
        x[k] = std::clamp(at, box.lower(k), box.upper(k));
    }
    static_cast<void>(lagrangian(std::span<const R>(x)));
    double lack = std::numeric_limits<double>::infinity();
    double minimum = lack;
    double least = lack;
    std::size_t still = 0;
    bool stuck = false;
    while (search.goes_on(echosieve::start_evaluations(inner, box.dimension()))) {
        Inner optimiser = inner;
        optimiser.max_evaluations = std::min(inner.max_evaluations, search.remaining());
        if constexpr (requires { optimiser.value_tolerance; }) {
            optimiser.value_tolerance = lagrangian.worthwhile_change(inner.value_tolerance, lack);
        }
        lagrangian.forget_best();
        const OptimiseResult<R> result = run_inner(optimiser, x);
        if (!result.usable()) {
            search.end(result.status);
            continue;
        }
        std::ranges::copy(result.x, x.begin());
        const double now = lagrangian.lack();
        const double before = std::exchange(minimum, static_cast<double>(result.value));
        const double above = search.best().feasible()
                                 ? static_cast<double>(search.best().value) - minimum
                                 : std::numeric_limits<double>::infinity();
        if (detail::converged(result.status)) {
            if (now <= std::max(feasibility_tolerance, rounding)) {
                search.end(result.status);
            } else if (std::max(std::abs(before - minimum), above) <=
                       value_tolerance * std::abs(minimum)) {
                search.end(OptimiseStatus::converged_value);
            }
        }
        lagrangian.update_multipliers();
        const bool fell = now <= required_fall * lack || now <= feasibility_tolerance;
        if (!fell && stuck && now <= 100 * margin) {
            lagrangian.raise_margin(100 * margin);
        } else if (!fell) {
            lagrangian.raise_penalty(penalty_growth, largest_penalty);
        }
        stuck = !fell;
        lack = now;
        still = now < least ? 0 : still + 1;
        least = std::min(least, now);
        if (still >= 5 && now <= 100 * margin) {
            constexpr double far = 1e-6;
            if (above > far * std::abs(minimum) && lagrangian.margin() < 100 * margin) {
                lagrangian.set_margin(100 * margin);  // a feasible end costs what it costs
                still = 0;
            } else {
                search.end(OptimiseStatus::stagnated);
            }
        }
    }
    return search.result();
}

static_assert(Optimiser<AugmentedLagrangian<>, double> && Optimiser<AugmentedLagrangian<>, float>);
static_assert(LimitedOptimiser<AugmentedLagrangian<>>);

}  // namespace echosieve
