// An objective evaluated on several threads.
#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <utility>
#include <vector>

#include "echosieve/core/threads.hpp"
#include "echosieve/optimise/least_squares.hpp"
#include "echosieve/optimise/objective.hpp"

namespace echosieve {

/// Makes a batch objective of any objective: the points that an optimiser hands over together are
/// shared out between `threads` threads. The objective is called by several threads at once, and
/// must bear it. Results are the same, bit by bit, on any number of threads, and without it.
/// Single points, gradients and constraints are passed on as they are. Threads are started for each
/// batch: some ten microseconds each, so the points of a batch should take longer.
template <class F>
class Parallel {
public:
    /// Throws InvalidInput unless threads is 1 to 1024.
    Parallel(F objective, std::size_t threads)
        : objective_(std::move(objective)), threads_(threads) {
        validate_threads(threads);
    }

    template <Real R>
    requires Objective<F, R>
    [[nodiscard]] R operator()(std::span<const R> x) {
        return static_cast<R>(objective_(x));
    }

    template <Real R>
    requires Objective<F, R>
    void evaluate(const Points<R>& points, std::span<R> values) {
        for_each_part(points.size(), threads_, [&](std::size_t first, std::size_t end) {
            if constexpr (BatchObjective<F, R>) {
                objective_.evaluate(points.part(first, end), values.subspan(first, end - first));
            } else {
                constexpr std::size_t usual = 32;
                std::array<R, usual> few;
                std::vector<R> many(points.dimension() > usual ? points.dimension() : 0);
                const std::span<R> x =
                    many.empty() ? std::span<R>(few).first(points.dimension()) : std::span<R>(many);
                for (std::size_t i = first; i < end; ++i) {
                    points.read(i, x);
                    values[i] = static_cast<R>(objective_(std::span<const R>(x)));
                }
            }
        });
    }

    template <Real R>
    requires DifferentiableObjective<F, R>
    [[nodiscard]] R value_and_gradient(std::span<const R> x, std::span<R> gradient) {
        return static_cast<R>(objective_.value_and_gradient(x, gradient));
    }
    template <Real R>
    requires LeastSquaresObjective<F, R>
    [[nodiscard]] R normal_equations(std::span<const R> x, std::span<R> gram,
                                     std::span<R> gradient) {
        return static_cast<R>(objective_.normal_equations(x, gram, gradient));
    }

    template <Real R>
    requires StagedLeastSquaresObjective<F, R>
    std::size_t derivatives(std::span<R> gram, std::span<R> gradient) {
        return objective_.derivatives(gram, gradient);
    }
    [[nodiscard]] std::size_t derivatives_cost() const
    requires requires(const F& f) { f.derivatives_cost(); }
    {
        return objective_.derivatives_cost();
    }

    [[nodiscard]] std::size_t inequalities() const
    requires requires(const F& f) { f.inequalities(); }
    {
        return objective_.inequalities();
    }
    [[nodiscard]] std::size_t equalities() const
    requires requires(const F& f) { f.equalities(); }
    {
        return objective_.equalities();
    }
    [[nodiscard]] auto equality_tolerance() const
    requires requires(const F& f) { f.equality_tolerance(); }
    {
        return objective_.equality_tolerance();
    }
    template <Real R>
    requires ConstrainedObjective<F, R>
    void constrain(std::span<const R> x, std::span<R> g, std::span<R> h) {
        objective_.constrain(x, g, h);
    }

private:
    F objective_;
    std::size_t threads_;
};

static_assert(BatchObjective<Parallel<detail::ProbeObjective<double>>, double>);
static_assert(ConstrainedObjective<Parallel<detail::ProbeConstrained<float>>, float>);
static_assert(!ConstrainedObjective<Parallel<detail::ProbeObjective<double>>, double>);

}  // namespace echosieve
