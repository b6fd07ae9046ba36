// The simplex of Nelder and Mead, clamped to a box.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <utility>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/optimise/constraints.hpp"
#include "echosieve/optimise/detail/local_start.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/result.hpp"
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

namespace detail {

// One run. Options are a NelderMead.
template <class Options, class F, Real R, class Watch>
class SimplexRun {
public:
    SimplexRun(const Options& options, Search<R, F, Watch>& search, const Box<R>& box,
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
          held_(workspace.take<char>(n_)),
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
        // A trial, a second one and a shrink, or a simplex built anew.
        while (found && search_.goes_on(m_ + 2)) {
            if (build_) {
                build();
            } else if (converged()) {
                restart();
            } else if (const std::size_t k = find_held(); k < n_) {
                look_inwards(k);
            } else if (const std::size_t t = find_touched(); t < n_) {
                look_at_bound(t);
            } else {
                move();
            }
            if (!build_) {
                hold_flat();
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
    [[nodiscard]] std::size_t worst() const noexcept { return order_[live_]; }

    // The vertices about trial_, whose merit is merits_[0], in the coordinates that are not held.
    void build() {
        live_ = 0;
        std::ranges::fill(looked_, std::numeric_limits<double>::infinity());
        for (std::size_t i = 0; i <= m_; ++i) {
            vertices_.write(i, trial_);
            order_[i] = i;
        }
        for (std::size_t i = 0; i < m_; ++i) {
            const std::size_t k = room_[i];
            if (held_[k] == 0) {
                const R edge = static_cast<R>(size_) * box_.width(k);
                const bool up = box_.upper(k) - trial_[k] >= trial_[k] - box_.lower(k);
                vertices_(++live_, k) = inside(k, up ? trial_[k] + edge : trial_[k] - edge);
            }
        }
        if (live_ > 0) {
            search_.evaluate(vertices_.points().part(1, live_ + 1), merits_.subspan(1, live_));
        }
        for (std::size_t i = 1; i <= live_; ++i) {
            sort_in(i);
        }
        build_ = false;
    }
    void build_about_best(double size) noexcept {
        size_ = size;
        vertices_.points().read(best(), trial_);
        merits_[0] = merits_[best()];
        build_ = true;
    }
    // The i-th of the order to its place among those before it, behind its equals.
    void sort_in(std::size_t i) noexcept {
        for (; i > 0 && merits_[order_[i]].better_than(merits_[order_[i - 1]]); --i) {
            std::swap(order_[i], order_[i - 1]);
        }
    }

    // Widths of the box by which coordinate k differs over the simplex.
    [[nodiscard]] double spread(std::size_t k) const noexcept {
        R least = vertices_(best(), k);
        R most = least;
        for (std::size_t i = 1; i <= live_; ++i) {
            least = std::min(least, vertices_(order_[i], k));
            most = std::max(most, vertices_(order_[i], k));
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
    // Coordinates in whose bound all vertices lie are held there, and a vertex each is let go: the
    // worst, unless the others agree in a coordinate then.
    void hold_flat() noexcept {
        const double before = size();
        const std::size_t all = live_;
        for (std::size_t i = 0; i < m_ && live_ > 0; ++i) {
            const std::size_t k = room_[i];
            const R x = vertices_(best(), k);
            if (held_[k] == 0 && (x == box_.lower(k) || x == box_.upper(k)) && spread(k) == 0) {
                held_[k] = 1;
                looked_[k] = std::numeric_limits<double>::infinity();
                --live_;
            }
        }
        for (std::size_t i = 0; i < m_ && live_ < all; ++i) {
            if (held_[room_[i]] == 0 && spread(room_[i]) == 0) {
                build_about_best(std::max(before, rounding()));
                return;
            }
        }
    }
    // A held coordinate from which nobody looked into the box since the simplex was twice its size;
    // n_ if there is none.
    [[nodiscard]] std::size_t find_held() const noexcept {
        const double now = size();
        for (std::size_t k = 0; k < n_; ++k) {
            if (held_[k] != 0 && now < looked_[k] / 2) {
                return k;
            }
        }
        return n_;
    }
    // A coordinate in whose bound some vertices lie but not the best one, and which nobody tried to
    // put there in vain since the simplex was twice its size; n_ if there is none.
    [[nodiscard]] std::size_t find_touched() const noexcept {
        const double now = size();
        for (std::size_t i = 0; i < m_; ++i) {
            const std::size_t k = room_[i];
            if (held_[k] == 0 && now < looked_[k] / 2 && touched_bound(k) != vertices_(best(), k)) {
                return k;
            }
        }
        return n_;
    }
    // The bound of k that a vertex lies in, or the best vertex's x_k if none does.
    [[nodiscard]] R touched_bound(std::size_t k) const noexcept {
        for (std::size_t i = 1; i <= live_; ++i) {
            const R x = vertices_(order_[i], k);
            if (x == box_.lower(k) || x == box_.upper(k)) {
                return x;
            }
        }
        return vertices_(best(), k);
    }
    [[nodiscard]] bool is_vertex(std::span<const R> x) const noexcept {
        for (std::size_t i = 0; i <= live_; ++i) {
            std::size_t k = 0;
            while (k < n_ && vertices_(order_[i], k) == x[k]) {
                ++k;
            }
            if (k == n_) {
                return true;
            }
        }
        return false;
    }
    // Would the best vertex be better in the bound? It is often worth a vertex: trials that the
    // bounds clamp in one coordinate after the other get there slowly.
    void look_at_bound(std::size_t k) {
        vertices_.points().read(best(), trial_);
        trial_[k] = touched_bound(k);
        const double before = std::exchange(looked_[k], size());
        if (is_vertex(trial_)) {
            return;
        }
        const Merit<R> merit = search_.evaluate(trial_);
        if (merit.better_than(merits_[best()])) {
            looked_[k] = before;
            replace_worst(trial_, merit);
        }
    }
    // From the best vertex into the box; what is better there is a vertex more.
    void look_inwards(std::size_t k) {
        looked_[k] = size();
        vertices_.points().read(best(), trial_);
        const R edge = static_cast<R>(looked_[k]) * box_.width(k);
        trial_[k] = inside(k, trial_[k] == box_.lower(k) ? trial_[k] + edge : trial_[k] - edge);
        const Merit<R> merit = search_.evaluate(trial_);
        if (merit.better_than(merits_[best()])) {
            held_[k] = 0;
            ++live_;
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
        std::ranges::fill(held_, char{0});
        build_about_best(options_.initial_size / 10);
    }

    [[nodiscard]] R inside(std::size_t k, R x) const noexcept {
        return x >= box_.lower(k) ? std::min(x, box_.upper(k)) : box_.lower(k);
    }
    // All vertices agree there, and are not to differ by rounding.
    [[nodiscard]] bool stays(std::size_t k) const noexcept {
        return held_[k] != 0 || !(box_.width(k) > 0);
    }
    // Evaluates c + t (c - w).
    Merit<R> look(double t, std::span<R> x) {
        for (std::size_t k = 0; k < n_; ++k) {
            const R w = vertices_(worst(), k);
            x[k] = stays(k) ? w : inside(k, centre_[k] + static_cast<R>(t) * (centre_[k] - w));
        }
        return search_.evaluate(x);
    }
    void replace_worst(std::span<const R> x, const Merit<R>& merit) noexcept {
        vertices_.write(worst(), x);
        merits_[worst()] = merit;
        sort_in(live_);
    }
    void move() {
        const R part = R{1} / static_cast<R>(live_);
        for (std::size_t k = 0; k < n_; ++k) {
            centre_[k] = 0;
            for (std::size_t i = 0; i < live_; ++i) {
                centre_[k] += part * vertices_(order_[i], k);
            }
        }
        const Merit<R> bad = merits_[worst()];
        const Merit<R> reflected = look(options_.reflection, trial_);
        if (reflected.better_than(merits_[best()])) {
            const Merit<R> further = look(options_.reflection * options_.expansion, other_);
            const bool better = further.better_than(reflected);
            replace_worst(better ? other_ : trial_, better ? further : reflected);
        } else if (live_ > 1 && reflected.better_than(merits_[order_[live_ - 1]])) {
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
        for (std::size_t i = 1; i <= live_; ++i) {
            const std::size_t v = order_[i];
            for (std::size_t k = 0; k < n_; ++k) {
                const R x = vertices_(best(), k);
                trial_[k] =
                    inside(k, x + static_cast<R>(options_.shrinkage) * (vertices_(v, k) - x));
            }
            vertices_.write(v, trial_);
            merits_[v] = search_.evaluate(trial_);
        }
        for (std::size_t i = 1; i <= live_; ++i) {
            sort_in(i);
        }
    }

    Options options_;
    Search<R, F, Watch>& search_;
    const Box<R>& box_;
    std::size_t n_;
    std::span<std::size_t> room_;  // the coordinates that have any
    std::size_t m_;
    PointTable<R> vertices_;
    std::span<Merit<R>> merits_;
    std::span<std::size_t> order_;  // vertices, the best first; those behind `live_` were let go
    std::size_t live_ = 0;          // vertices but one
    std::span<char> held_;          // coordinates, see hold_flat
    std::span<double> looked_;      // sizes of the simplex, see find_held
    std::span<R> centre_;
    std::span<R> trial_;
    std::span<R> other_;
    double size_;  // of the simplex when it was last built, or is to be
    bool build_ = true;
    Merit<R> before_;  // the best at the last restart
    double first_value_ = 0;
    std::size_t restarts_ = 0;
};

}  // namespace detail

}  // namespace echosieve
