// The simplex method of Nelder and Mead inside a box, for objectives without derivatives.
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
#include "echosieve/core/error.hpp"
#include "echosieve/core/scalar.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/limits.hpp"
#include "echosieve/optimise/local_start.hpp"
#include "echosieve/optimise/search.hpp"
#include "echosieve/optimise/workspace.hpp"

namespace echosieve {

// Symbols
//   m      coordinates that have room; the simplex has m + 1 vertices, c is the mean of all but the
//          worst one, w
//   trial  c + t (c - w): t = reflection, reflection * expansion, reflection * contraction
//   (outside)
//          or -contraction (inside); a shrink moves all vertices towards the best
// (Nelder and Mead 1965, Comput. J. 7:308-313; rules and ties as in Lagarias, Reeds, Wright and
// Wright 1998, SIAM J. Optim. 9:112-147; from memory.)

/// A local method that only compares: values of equal points under constraints by Deb's rules.
/// Trials are clamped to the box, which may press the simplex flat into a bound: from there it
/// looks back into the box each time it has halved, and when it has converged it is built anew
/// about its best vertex, until that no longer gains. An iteration is one trial, with what follows
/// from it.
struct NelderMead {
    std::size_t iterations = 2000;
    double reflection = 1;     ///< > 0
    double expansion = 2;      ///< > 1
    double contraction = 0.5;  ///< in (0, 1)
    double shrinkage = 0.5;    ///< in (0, 1)
    /// Instead of these constants those for m > 1: 1, 1 + 2 / m, 3 / 4 - 1 / 2 m, 1 - 1 / m (Gao
    /// and Han 2012, Comput. Optim. Appl. 51:259-277; from memory).
    bool adaptive = false;
    double initial_size = 0.1;  ///< edge of the first simplex, in widths of the box, in (0, 1]
    std::size_t restarts = 5;   ///< at most, each with a tenth of that edge, after convergence
    /// Converges when no vertex is farther from the best in any coordinate than step_tolerance
    /// [box widths], and the values of best and worst differ by <= value_tolerance times the larger
    /// modulus or the fall since the start (or the simplex is as small as the rounding of R).
    double step_tolerance = 1e-8;
    double value_tolerance = 1e-12;
    double target = -std::numeric_limits<double>::infinity();  ///< this and the next: see Limits
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();  ///< >= 1

    /// `start` is empty or a point, clamped to the box, that is the first vertex; see
    /// local_start.hpp for what an empty or unusable start leads to. Throws InvalidInput for
    /// invalid options, a start of another dimension or with a NaN, or a box whose width is not
    /// finite.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R>
    [[nodiscard]] OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                             std::type_identity_t<std::span<const R>> start,
                                             Watch& observer) const {
        Workspace workspace;
        return minimise(objective, box, seed, start, observer, workspace);
    }

    /// The same in the caller's workspace: once that has its size, a run allocates the x of its
    /// result and nothing else.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R>
    [[nodiscard]] OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                             std::type_identity_t<std::span<const R>> start,
                                             Watch& observer, Workspace& workspace) const;
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
inline void validate(const NelderMead& options) {
    require(options.reflection > 0 && is_finite(options.reflection), "reflection",
            options.reflection, "must be positive and finite");
    require(options.expansion > 1 && is_finite(options.expansion), "expansion", options.expansion,
            "must exceed 1 and be finite");
    require(options.contraction > 0 && options.contraction < 1, "contraction", options.contraction,
            "must lie in (0, 1)");
    require(options.shrinkage > 0 && options.shrinkage < 1, "shrinkage", options.shrinkage,
            "must lie in (0, 1)");
    require(options.initial_size > 0 && options.initial_size <= 1, "initial_size",
            options.initial_size, "must lie in (0, 1] [box widths]");
    require(options.step_tolerance >= 0, "step_tolerance", options.step_tolerance,
            "must be zero or more [box widths]");
    require(options.value_tolerance >= 0, "value_tolerance", options.value_tolerance,
            "must be zero or more");
    validate(limits_of(options), 1);
}

namespace detail {

// One run of a NelderMead.
template <class F, Real R, class Watch>
class SimplexRun {
public:
    SimplexRun(const NelderMead& options, Search<R, F, Watch>& search, const Box<R>& box,
               Workspace& workspace)
        : options_(options),
          search_(search),
          box_(box),
          n_(box.dimension()),
          room_(workspace.take<std::size_t>(n_)),
          m_(find_room()),
          vertices_(m_ + 1, n_, workspace),
          merits_(workspace.take<Merit<R>>(m_ + 1)),
          order_(workspace.take<std::size_t>(m_ + 1)),
          looked_(workspace.take<double>(n_)),
          centre_(workspace.take<R>(n_)),
          trial_(workspace.take<R>(n_)),
          other_(workspace.take<R>(n_)),
          size_(options.initial_size) {
        if (options.adaptive && m_ > 1) {
            const double m = static_cast<double>(m_);
            options_.reflection = 1;
            options_.expansion = 1 + 2 / m;
            options_.contraction = 0.75 - 1 / (2 * m);
            options_.shrinkage = 1 - 1 / m;
        }
    }

    OptimiseResult<R> run(std::uint64_t seed, std::span<const R> start) {
        const bool found = find_local_start(search_, box_, seed, start, trial_, 1, [&] {
            merits_[0] = search_.evaluate(trial_);
            first_value_ = static_cast<double>(merits_[0].value);
            return merits_[0].value < Search<R, F, Watch>::infinity;
        });
        bool built = false;
        // A trial, a second one and a shrink, or a simplex built anew.
        while (found && search_.goes_on(m_ + 2)) {
            if (!std::exchange(built, true)) {
                build();
            } else if (converged()) {
                restart();
            } else if (const std::size_t k = find_flat(); k < n_) {
                look_inwards(k);
            } else {
                move();
            }
        }
        return search_.result();
    }

private:
    [[nodiscard]] std::size_t find_room() noexcept {
        std::size_t m = 0;
        for (std::size_t k = 0; k < n_; ++k) {
            if (box_.width(k) > 0) {
                room_[m++] = k;
            }
        }
        return m;
    }
    [[nodiscard]] std::size_t best() const noexcept { return order_[0]; }
    [[nodiscard]] std::size_t worst() const noexcept { return order_[m_]; }

    // The vertices about trial_, whose merit is merits_[0].
    void build() {
        for (std::size_t i = 0; i <= m_; ++i) {
            vertices_.write(i, trial_);
            order_[i] = i;
        }
        for (std::size_t i = 1; i <= m_; ++i) {
            const std::size_t k = room_[i - 1];
            const R edge = static_cast<R>(size_) * box_.width(k);
            const bool up = box_.upper(k) - trial_[k] >= trial_[k] - box_.lower(k);
            vertices_(i, k) = inside(k, up ? trial_[k] + edge : trial_[k] - edge);
        }
        std::ranges::fill(looked_, std::numeric_limits<double>::infinity());
        evaluate_all_but_first();
    }
    void evaluate_all_but_first() {
        if (m_ > 0) {
            search_.evaluate(vertices_.points().part(1, m_ + 1), merits_.subspan(1));
        }
        for (std::size_t i = 1; i <= m_; ++i) {
            sort_in(i);
        }
    }
    // The i-th of the order to its place among those before it, behind its equals.
    void sort_in(std::size_t i) noexcept {
        for (; i > 0 && merits_[order_[i]].better_than(merits_[order_[i - 1]]); --i) {
            std::swap(order_[i], order_[i - 1]);
        }
    }
    void build_about_best() {
        vertices_.points().read(best(), trial_);
        merits_[0] = merits_[best()];
        build();
    }

    // Widths of the box by which coordinate k differs over the simplex.
    [[nodiscard]] double spread(std::size_t k) const noexcept {
        R least = vertices_(0, k);
        R most = least;
        for (std::size_t i = 1; i <= m_; ++i) {
            least = std::min(least, vertices_(i, k));
            most = std::max(most, vertices_(i, k));
        }
        return most > least ? static_cast<double>((most - least) / box_.width(k)) : 0;
    }
    [[nodiscard]] double size() const noexcept {
        double largest = 0;
        for (std::size_t i = 0; i < m_; ++i) {
            largest = std::max(largest, spread(room_[i]));
        }
        return largest;
    }
    [[nodiscard]] static constexpr double rounding() noexcept {
        return static_cast<double>(std::numeric_limits<R>::epsilon());
    }
    // A coordinate in whose bound all vertices lie, and from which nobody looked into the box since
    // the simplex was twice its size; n_ if there is none.
    [[nodiscard]] std::size_t find_flat() const noexcept {
        const double now = size();
        for (std::size_t i = 0; i < m_; ++i) {
            const std::size_t k = room_[i];
            const R x = vertices_(0, k);
            if ((x == box_.lower(k) || x == box_.upper(k)) && now < looked_[k] / 2 &&
                spread(k) == 0) {
                return k;
            }
        }
        return n_;
    }
    // From the best vertex into the box; what is better there brings the dimension back.
    void look_inwards(std::size_t k) {
        looked_[k] = size();
        vertices_.points().read(best(), trial_);
        const R edge = static_cast<R>(looked_[k]) * box_.width(k);
        trial_[k] = inside(k, trial_[k] == box_.lower(k) ? trial_[k] + edge : trial_[k] - edge);
        const Merit<R> merit = search_.evaluate(trial_);
        if (merit.better_than(merits_[best()])) {
            replace_worst(trial_, merit);
        }
    }
    [[nodiscard]] bool converged() const noexcept {
        const double now = size();
        if (now <= rounding()) {
            return true;
        }
        const double a = static_cast<double>(merits_[best()].value);
        const double b = static_cast<double>(merits_[worst()].value);
        return now <= options_.step_tolerance &&
               std::abs(b - a) <= std::max(options_.value_tolerance, rounding()) *
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
        size_ = options_.initial_size / 10;
        build_about_best();
    }

    [[nodiscard]] R inside(std::size_t k, R x) const noexcept {
        return x >= box_.lower(k) ? std::min(x, box_.upper(k)) : box_.lower(k);
    }
    // Evaluates c + t (c - w).
    Merit<R> look(double t, std::span<R> x) {
        for (std::size_t k = 0; k < n_; ++k) {
            x[k] = inside(k, centre_[k] + static_cast<R>(t) * (centre_[k] - vertices_(worst(), k)));
        }
        return search_.evaluate(x);
    }
    void replace_worst(std::span<const R> x, const Merit<R>& merit) noexcept {
        vertices_.write(worst(), x);
        merits_[worst()] = merit;
        sort_in(m_);
    }
    void move() {
        const R part = R{1} / static_cast<R>(m_);
        for (std::size_t k = 0; k < n_; ++k) {
            R sum = 0;
            for (std::size_t i = 0; i < m_; ++i) {
                sum += part * vertices_(order_[i], k);
            }
            centre_[k] = box_.width(k) > 0 ? sum : box_.lower(k);
        }
        const Merit<R> bad = merits_[worst()];
        const Merit<R> reflected = look(options_.reflection, trial_);
        if (reflected.better_than(merits_[best()])) {
            const Merit<R> further = look(options_.reflection * options_.expansion, other_);
            const bool better = further.better_than(reflected);
            replace_worst(better ? other_ : trial_, better ? further : reflected);
        } else if (m_ > 1 && reflected.better_than(merits_[order_[m_ - 1]])) {
            replace_worst(trial_, reflected);
        } else if (reflected.better_than(bad)) {
            const Merit<R> nearer = look(options_.reflection * options_.contraction, other_);
            if (reflected.better_than(nearer)) {
                shrink();
            } else {
                replace_worst(other_, nearer);
            }
        } else {
            const Merit<R> nearer = look(-options_.contraction, other_);
            if (nearer.better_than(bad)) {
                replace_worst(other_, nearer);
            } else {
                shrink();
            }
        }
    }
    void shrink() {
        const std::size_t kept = best();
        for (std::size_t k = 0; k < n_; ++k) {
            const R x = vertices_(kept, k);
            std::swap(vertices_(0, k), vertices_(kept, k));
            for (std::size_t i = 1; i <= m_; ++i) {
                vertices_(i, k) =
                    inside(k, x + static_cast<R>(options_.shrinkage) * (vertices_(i, k) - x));
            }
        }
        merits_[0] = merits_[kept];
        for (std::size_t i = 0; i <= m_; ++i) {
            order_[i] = i;
        }
        evaluate_all_but_first();
    }

    NelderMead options_;
    Search<R, F, Watch>& search_;
    const Box<R>& box_;
    std::size_t n_;
    std::span<std::size_t> room_;  // the coordinates that have any
    std::size_t m_;
    PointTable<R> vertices_;
    std::span<Merit<R>> merits_;
    std::span<std::size_t> order_;  // vertices, the best first
    std::span<double> looked_;      // sizes of the simplex, see find_flat
    std::span<R> centre_;
    std::span<R> trial_;
    std::span<R> other_;
    double size_;      // of the simplex when it was last built
    Merit<R> before_;  // the best at the last restart
    double first_value_ = 0;
    std::size_t restarts_ = 0;
};

}  // namespace detail

template <class F, Real R, class Watch>
requires Objective<F, R> && Observer<Watch, R>
OptimiseResult<R> NelderMead::minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                       std::type_identity_t<std::span<const R>> start,
                                       Watch& observer, Workspace& workspace) const {
    validate(*this);
    detail::check_search_input(box, start);
    detail::check_population<R>("dimension of the box", box.dimension() + 1, box.dimension());
    const Workspace::Scope scope(workspace);
    detail::Search<R, F, Watch> search(objective, box, limits_of(*this), observer, workspace);
    return detail::SimplexRun<F, R, Watch>(*this, search, box, workspace).run(seed, start);
}

static_assert(Optimiser<NelderMead, double> && Optimiser<NelderMead, float>);
static_assert(LimitedOptimiser<NelderMead>);

}  // namespace echosieve
