// The simplex method of Nelder and Mead, clamped to a box.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/local_start.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/detail/simplex_shape.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

// Symbols
//   m      coordinates that have room; the simplex has m + 1 vertices, c is the mean of all but the
//          worst one, w
//   trial  c + t (c - w): t = reflection, reflection * expansion, reflection * contraction
//   (outside)
//          or -contraction (inside); a shrink moves all vertices towards the best
// (Nelder and Mead 1965, Comput. J. 7:308-313; rules and ties as in Lagarias, Reeds, Wright and
// Wright 1998, SIAM J. Optim. 9:112-147; from memory.)

namespace detail {

// One run. Options are a NelderMead.
template <class Options, class F, Real R, class Watch>
class SimplexRun {
public:
    SimplexRun(const Options& options, const OptimiseTask<F, R, Watch>& task)
        : options_((validate(options), options)),
          search_(task, limits_of(options)),
          box_(task.box),
          n_(task.box.dimension()),
          shape_(checked_shape(task.workspace)),
          centre_(task.workspace.template take<R>(n_)),
          trial_(task.workspace.template take<R>(n_)),
          other_(task.workspace.template take<R>(n_)),
          size_(options.initial_size) {
        if (options.adaptive && shape_.room() > 1) {
            const double m = static_cast<double>(shape_.room());
            options_.reflection = 1;
            options_.expansion = 1 + 2 / m;
            options_.contraction = 0.75 - 1 / (2 * m);
            options_.shrinkage = 1 - 1 / m;
        }
    }

    [[nodiscard]] OptimiseResult<R> run() {
        const bool found = find_local_start(search_, trial_, 1, [&] {
            merit_ = search_.evaluate(trial_);
            first_value_ = static_cast<double>(merit_.value);
            return merit_.value < Search<F, R, Watch>::infinity;
        });
        // A trial, a second one and a shrink, or a simplex built anew.
        while (found && search_.goes_on(shape_.room() + 2)) {
            if (build_) {
                shape_.build(search_, trial_, merit_, size_);
                build_ = false;
            } else if (converged()) {
                restart();
            } else if (const std::size_t k = shape_.find_held(); k < n_) {
                look_inwards(k);
            } else if (const std::size_t t = shape_.find_touched(); t < n_) {
                look_at_bound(t);
            } else {
                move();
            }
            if (const double size = build_ ? 0 : shape_.hold_flat(); size > 0) {
                build_about_best(size);
            }
        }
        return search_.result();
    }

private:
    [[nodiscard]] SimplexShape<R> checked_shape(Workspace& workspace) const {
        check_population<R>("dimension of the box", n_ + 1, n_);
        return {box_, workspace};
    }
    void build_about_best(double size) noexcept {
        size_ = size;
        shape_.read(shape_.best(), trial_);
        merit_ = shape_.merit(shape_.best());
        build_ = true;
    }
    // Would the best vertex be better in the bound? It is often worth a vertex: trials that the
    // bounds clamp in one coordinate after the other get there slowly.
    void look_at_bound(std::size_t k) {
        shape_.read(shape_.best(), trial_);
        trial_[k] = shape_.touched_bound(k);
        const double before = shape_.note_look(k);
        if (shape_.is_vertex(trial_)) {
            return;
        }
        const Merit<R> merit = search_.evaluate(trial_);
        if (merit.better_than(shape_.merit(shape_.best()))) {
            shape_.note_look(k, before);
            shape_.replace_worst(trial_, merit);
        }
    }
    // From the best vertex into the box; what is better there is a vertex more.
    void look_inwards(std::size_t k) {
        shape_.note_look(k);
        shape_.read(shape_.best(), trial_);
        const R edge = static_cast<R>(shape_.size()) * box_.width(k);
        trial_[k] =
            shape_.inside(k, trial_[k] == box_.lower(k) ? trial_[k] + edge : trial_[k] - edge);
        const Merit<R> merit = search_.evaluate(trial_);
        if (merit.better_than(shape_.merit(shape_.best()))) {
            shape_.free(k, trial_, merit);
        }
    }
    [[nodiscard]] bool converged() const noexcept {
        const double now = shape_.size();
        if (now <= shape_.rounding()) {
            return true;
        }
        const double a = static_cast<double>(shape_.merit(shape_.best()).value);
        const double b = static_cast<double>(shape_.merit(shape_.worst()).value);
        return now <= options_.step_tolerance &&
               std::abs(b - a) <= std::max(options_.value_tolerance, shape_.rounding()) *
                                      std::max({std::abs(a), std::abs(b), first_value_ - a});
    }
    void restart() {
        const double fall = static_cast<double>(before_.value - search_.best().value);
        const bool gained =
            search_.best().violation < before_.violation ||
            fall > options_.value_tolerance * std::abs(static_cast<double>(before_.value));
        if (restarts_ >= options_.restarts || (restarts_ > 0 && !gained)) {
            search_.end(OptimiseStatus::converged_step);
            return;
        }
        ++restarts_;
        before_ = search_.best();
        shape_.let_go_of_bounds();
        build_about_best(options_.initial_size / 10);
    }

    // Evaluates c + t (c - w).
    Merit<R> look(double t, std::span<R> x) {
        for (std::size_t k = 0; k < n_; ++k) {
            const R w = shape_(shape_.worst(), k);
            x[k] = shape_.stays(k)
                       ? w
                       : shape_.inside(k, centre_[k] + static_cast<R>(t) * (centre_[k] - w));
        }
        return search_.evaluate(x);
    }
    void move() {
        const R part = R{1} / static_cast<R>(shape_.live());
        for (std::size_t k = 0; k < n_; ++k) {
            centre_[k] = 0;
            for (std::size_t i = 0; i < shape_.live(); ++i) {
                centre_[k] += part * shape_(shape_.vertex(i), k);
            }
        }
        const Merit<R> bad = shape_.merit(shape_.worst());
        const Merit<R> reflected = look(options_.reflection, trial_);
        if (reflected.better_than(shape_.merit(shape_.best()))) {
            const Merit<R> further = look(options_.reflection * options_.expansion, other_);
            const bool better = further.better_than(reflected);
            shape_.replace_worst(better ? other_ : trial_, better ? further : reflected);
        } else if (shape_.live() > 1 &&
                   reflected.better_than(shape_.merit(shape_.vertex(shape_.live() - 1)))) {
            shape_.replace_worst(trial_, reflected);
        } else if (reflected.better_than(bad)) {
            const Merit<R> nearer = look(options_.reflection * options_.contraction, other_);
            if (reflected.better_than(nearer)) {
                shrink();
            } else {
                shape_.replace_worst(other_, nearer);
            }
        } else {
            const Merit<R> nearer = look(-options_.contraction, other_);
            if (nearer.better_than(bad)) {
                shape_.replace_worst(other_, nearer);
            } else {
                shrink();
            }
        }
    }
    void shrink() {
        for (std::size_t i = 1; i <= shape_.live(); ++i) {
            const std::size_t v = shape_.vertex(i);
            for (std::size_t k = 0; k < n_; ++k) {
                const R x = shape_(shape_.best(), k);
                trial_[k] =
                    shape_.inside(k, x + static_cast<R>(options_.shrinkage) * (shape_(v, k) - x));
            }
            shape_.replace(v, trial_, search_.evaluate(trial_));
        }
        for (std::size_t i = 1; i <= shape_.live(); ++i) {
            shape_.sort_in(i);
        }
    }

    Options options_;
    Search<F, R, Watch> search_;
    const Box<R>& box_;
    std::size_t n_;
    SimplexShape<R> shape_;
    std::span<R> centre_;
    std::span<R> trial_;
    std::span<R> other_;
    double size_;        // of the simplex when it was last built, or is to be
    bool build_ = true;  // about trial_, whose merit this is
    Merit<R> merit_;
    Merit<R> before_;  // the best at the last restart
    double first_value_ = 0;
    std::size_t restarts_ = 0;
};

}  // namespace detail

}  // namespace echosieve
