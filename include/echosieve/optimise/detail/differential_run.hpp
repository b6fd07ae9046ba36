// One run of differential evolution.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <numeric>
#include <span>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/epsilon_level.hpp"
#include "echosieve/optimise/detail/point_table.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

template <Real R>
struct Donors;  // differential_evolution.hpp

namespace detail {

// Draws different indices below count, none of them i: each from those that are left.
template <std::size_t N>
std::array<std::size_t, N> random_others(RandomStream& stream, std::size_t i, std::size_t count) {
    std::array<std::size_t, N> drawn{};
    std::array<std::size_t, N + 1> taken{i};  // rising
    for (std::size_t k = 0; k < N; ++k) {
        std::size_t index = stream.index(count - 1 - k);
        std::size_t place = 0;
        for (; place <= k && taken[place] <= index; ++place) {
            ++index;
        }
        std::copy_backward(taken.begin() + static_cast<std::ptrdiff_t>(place),
                           taken.begin() + static_cast<std::ptrdiff_t>(k + 1),
                           taken.begin() + static_cast<std::ptrdiff_t>(k + 2));
        taken[place] = index;
        drawn[k] = index;
    }
    return drawn;
}

// Back into the box, half way from x to the bound that was crossed; a NaN crossed the lower one.
template <Real R>
[[nodiscard]] R midpoint_repair(R mutant, R x, R lower, R upper) noexcept {
    if (mutant >= lower && mutant <= upper) {
        return mutant;
    }
    return std::midpoint(x, mutant > upper ? upper : lower);
}

// Options are a DifferentialPopulation, whose symbols these are.
template <class Options, class F, Real R, class Watch>
class DifferentialRun {
public:
    DifferentialRun(const Options& options, const OptimiseTask<F, R, Watch>& task)
        : options_((validate(options), options)),
          box_(task.box),
          n_(task.box.dimension()),
          count_(options.population),
          search_(task, limits_of(options)),
          x_(checked_table(task.workspace)),
          u_(count_, n_, task.workspace),
          merits_(task.workspace.template take<Merit<R>>(count_)),
          trials_(task.workspace.template take<Merit<R>>(count_)),
          own_(task.workspace.take(count_, options.parameters.first())),
          tried_(task.workspace.take(count_, options.parameters.first())),
          streams_(task.workspace.take(count_, RandomStream(task.seed))),
          free_(free_coordinates(task.box, task.workspace)) {}

    [[nodiscard]] OptimiseResult<R> run() {
        place();
        search_.evaluate(x_, merits_);
        const R first_level =
            has_equalities<R>(search_.task().objective)
                ? options_.epsilon.first(std::span<const Merit<R>>(merits_),
                                         search_.task().workspace.template take<R>(count_))
                : R{0};
        while (search_.goes_on(count_)) {
            level_ = options_.epsilon.at(search_.progress(), first_level);
            for (std::size_t i = 0; i < count_; ++i) {
                best_ = better(merits_[i], merits_[best_]) ? i : best_;
            }
            for (std::size_t i = 0; i < count_; ++i) {
                make_trial(i);
            }
            search_.evaluate(u_, trials_);
            for (std::size_t i = 0; i < count_; ++i) {
                if (!better(merits_[i], trials_[i])) {
                    merits_[i] = trials_[i];
                    own_[i] = tried_[i];
                    x_.copy_point(i, u_, i);
                }
            }
        }
        return search_.result();
    }

private:
    using Strategy = decltype(Options::strategy);
    using Parameters = decltype(Options{}.parameters.first());

    [[nodiscard]] PointTable<R> checked_table(Workspace& workspace) const {
        check_population<R>("population", count_, n_);
        return {count_, n_, workspace};
    }
    [[nodiscard]] bool better(const Merit<R>& a, const Merit<R>& b) const noexcept {
        return eased(a, level_).better_than(eased(b, level_));
    }
    void place() {
        for (std::size_t i = 0; i < count_; ++i) {
            streams_[i] = RandomStream(search_.task().seed, i);
            for (std::size_t k = 0; k < n_; ++k) {
                x_(i, k) = streams_[i].template uniform<R>(box_.lower(k), box_.upper(k));
            }
        }
        const std::span<const R> start = search_.task().start;
        for (std::size_t k = 0; k < start.size(); ++k) {
            x_(0, k) = std::clamp(start[k], box_.lower(k), box_.upper(k));
        }
    }
    void make_trial(std::size_t i) {
        RandomStream& stream = streams_[i];
        tried_[i] = options_.parameters.trial(own_[i], stream);
        const auto others = random_others<Strategy::others>(stream, i, count_);
        const R weight = static_cast<R>(tried_[i].differential_weight);
        u_.copy_point(i, x_, i);
        if (free_.empty()) {
            return;
        }
        const std::size_t certain = free_[stream.index(free_.size())];
        for (const std::size_t k : free_) {
            if (k != certain && !(stream.uniform() < tried_[i].crossover_rate)) {
                continue;
            }
            Donors<R> donors{x_(i, k), x_(best_, k), {}};
            for (std::size_t j = 0; j < Strategy::others; ++j) {
                donors.others[j] = x_(others[j], k);
            }
            u_(i, k) = midpoint_repair(options_.strategy.mutant(donors, weight), x_(i, k),
                                       box_.lower(k), box_.upper(k));
        }
    }

    const Options& options_;
    const Box<R>& box_;
    std::size_t n_;
    std::size_t count_;
    Search<F, R, Watch> search_;
    PointTable<R> x_;
    PointTable<R> u_;
    std::span<Merit<R>> merits_;
    std::span<Merit<R>> trials_;
    std::span<Parameters> own_;
    std::span<Parameters> tried_;
    std::span<RandomStream> streams_;
    /// Coordinates of no width never change: a trial that differs in nothing else tries nothing.
    std::span<std::size_t> free_;
    std::size_t best_ = 0;
    R level_ = 0;
};

}  // namespace detail

}  // namespace echosieve
