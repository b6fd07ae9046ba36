// One run of a particle swarm.
#pragma once

#include <algorithm>
#include <cstddef>
#include <span>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/epsilon_level.hpp"
#include "echosieve/optimise/detail/point_table.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/result.hpp"
#include "echosieve/optimise/swarm_policies.hpp"

namespace echosieve::detail {

// Options are a ParticleSwarm, whose symbols these are.
template <class Options, class F, Real R, class Watch>
class SwarmRun {
public:
    SwarmRun(const Options& options, const OptimiseTask<F, R, Watch>& task)
        : options_((validate(options), options)),
          box_(task.box),
          n_(task.box.dimension()),
          count_(options.particles),
          search_(task, limits_of(options)),
          x_(checked_table(task.workspace)),
          p_(count_, n_, task.workspace),
          v_(task.workspace.template take<R>(count_ * n_)),
          own_(task.workspace.template take<R>(n_)),
          other_(task.workspace.template take<R>(n_)),
          merits_(task.workspace.template take<Merit<R>>(count_)),
          memories_(task.workspace.template take<Merit<R>>(count_)),
          informants_(task.workspace.template take<std::size_t>(count_)),
          streams_(task.workspace.take(count_, RandomStream(task.seed))),
          state_{.seed = task.seed} {}

    [[nodiscard]] OptimiseResult<R> run() {
        place();
        evaluate();
        Workspace& workspace = search_.task().workspace;
        const bool eases = has_equalities<R>(search_.task().objective);
        const R first_level = eases ? options_.epsilon.first(std::span<const Merit<R>>(memories_),
                                                             workspace.take<R>(count_))
                                    : R{0};
        const auto shown = workspace.take<Merit<R>>(eases ? count_ : 0);
        while (search_.goes_on(count_)) {
            level_ = options_.epsilon.at(search_.progress(), first_level);
            for (std::size_t i = 0; i < shown.size(); ++i) {
                shown[i] = eased(memories_[i], level_);
            }
            options_.topology.inform(std::span<const Merit<R>>(eases ? shown : memories_),
                                     informants_, state_);
            for (std::size_t i = 0; i < count_; ++i) {
                move(i);
            }
            evaluate();
        }
        return search_.result();
    }

private:
    [[nodiscard]] PointTable<R> checked_table(Workspace& workspace) const {
        check_population<R>("particles", count_, n_);
        return {count_, n_, workspace};
    }
    void place() {
        const R fastest = static_cast<R>(options_.initial_velocity);
        for (std::size_t i = 0; i < count_; ++i) {
            streams_[i] = RandomStream(state_.seed, i);
            for (std::size_t k = 0; k < n_; ++k) {
                x_(i, k) = streams_[i].template uniform<R>(box_.lower(k), box_.upper(k));
                v_[i * n_ + k] = fastest * (2 * streams_[i].template uniform<R>() - 1);
            }
        }
        const std::span<const R> start = search_.task().start;
        for (std::size_t k = 0; k < start.size(); ++k) {
            x_(0, k) = std::clamp(start[k], box_.lower(k), box_.upper(k));
        }
    }
    void evaluate() {
        const Merit<R> before = search_.best();
        search_.evaluate(x_, merits_);
        for (std::size_t i = 0; i < count_; ++i) {
            if (eased(merits_[i], level_).better_than(eased(memories_[i], level_)) ||
                search_.iterations() == 0) {
                memories_[i] = merits_[i];
                p_.copy_point(i, x_, i);
            }
        }
        state_.failures += search_.best().better_than(before) ? 0 : 1;
    }
    void move(std::size_t i) {
        const R limit = static_cast<R>(options_.largest_velocity);
        const std::span<R> way = v_.subspan(i * n_, n_);
        for (std::size_t k = 0; k < n_; ++k) {
            // A division each: the inverse of a tiny width would overflow.
            const R width = box_.width(k) > 0 ? box_.width(k) : R{1};
            own_[k] = (p_(i, k) - x_(i, k)) / width;
            other_[k] = (p_(informants_[i], k) - x_(i, k)) / width;
        }
        options_.move.apply(
            ParticleView<R>{way, own_, other_, informants_[i] == i, search_.progress()},
            streams_[i]);
        for (std::size_t k = 0; k < n_; ++k) {
            way[k] = std::clamp(way[k], -limit, limit);
            R to = x_(i, k) + way[k] * box_.width(k);
            options_.bounds.apply(to, way[k], box_.lower(k), box_.upper(k));
            x_(i, k) = to;
        }
    }

    const Options& options_;
    const Box<R>& box_;
    std::size_t n_;
    std::size_t count_;
    Search<F, R, Watch> search_;
    PointTable<R> x_;
    PointTable<R> p_;
    std::span<R> v_;  // [particle][coordinate], box widths
    std::span<R> own_;
    std::span<R> other_;
    std::span<Merit<R>> merits_;
    std::span<Merit<R>> memories_;
    std::span<std::size_t> informants_;
    std::span<RandomStream> streams_;
    SwarmState state_;
    R level_ = 0;
};

}  // namespace echosieve::detail
