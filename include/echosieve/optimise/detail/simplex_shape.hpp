// The vertices of a simplex inside a box: their order, their spread, and the bounds that they lie
// in.
#pragma once

#include <algorithm>
#include <cstddef>
#include <limits>
#include <span>
#include <utility>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/point_table.hpp"
#include "echosieve/optimise/objective.hpp"

namespace echosieve::detail {

// Symbols: those of simplex.hpp.

template <Real R>
class SimplexShape {
public:
    SimplexShape(const Box<R>& box, Workspace& workspace)
        : box_(box),
          n_(box.dimension()),
          room_(free_coordinates(box, workspace)),
          m_(room_.size()),
          vertices_(m_ + 1, n_, workspace),
          merits_(workspace.take<Merit<R>>(m_ + 1)),
          order_(workspace.take<std::size_t>(m_ + 1)),
          held_(workspace.take<char>(n_)),
          looked_(workspace.take<double>(n_)) {}

    /// Coordinates that have room, and vertices but one.
    [[nodiscard]] std::size_t room() const noexcept { return m_; }
    [[nodiscard]] std::size_t live() const noexcept { return live_; }
    [[nodiscard]] R operator()(std::size_t vertex, std::size_t k) const noexcept {
        return vertices_(vertex, k);
    }
    [[nodiscard]] const Merit<R>& merit(std::size_t vertex) const noexcept {
        return merits_[vertex];
    }
    /// The i-th vertex, the best first.
    [[nodiscard]] std::size_t vertex(std::size_t i) const noexcept { return order_[i]; }
    [[nodiscard]] std::size_t best() const noexcept { return order_[0]; }
    [[nodiscard]] std::size_t worst() const noexcept { return order_[live_]; }

    void read(std::size_t vertex, std::span<R> x) const noexcept {
        vertices_.points().read(vertex, x);
    }
    void replace(std::size_t vertex, std::span<const R> x, const Merit<R>& merit) noexcept {
        vertices_.write(vertex, x);
        merits_[vertex] = merit;
    }
    void replace_worst(std::span<const R> x, const Merit<R>& merit) noexcept {
        vertices_.write(worst(), x);
        merits_[worst()] = merit;
        sort_in(live_);
    }
    // The i-th of the order to its place among those before it, behind its equals.
    void sort_in(std::size_t i) noexcept {
        for (; i > 0 && merits_[order_[i]].better_than(merits_[order_[i - 1]]); --i) {
            std::swap(order_[i], order_[i - 1]);
        }
    }

    /// Vertices about x, an edge of `size` widths of the box away in the coordinates that are not
    /// held. All but x itself, vertex 0, are evaluated by `search`.
    template <class S>
    void build(S& search, std::span<const R> x, const Merit<R>& merit, double size) {
        live_ = 0;
        std::ranges::fill(looked_, std::numeric_limits<double>::infinity());
        for (std::size_t i = 0; i <= m_; ++i) {
            vertices_.write(i, x);
            order_[i] = i;
        }
        merits_[0] = merit;
        for (std::size_t i = 0; i < m_; ++i) {
            const std::size_t k = room_[i];
            if (held_[k] == 0) {
                const R edge = static_cast<R>(size) * box_.width(k);
                const bool up = box_.upper(k) - x[k] >= x[k] - box_.lower(k);
                vertices_(++live_, k) = inside(k, up ? x[k] + edge : x[k] - edge);
            }
        }
        if (live_ > 0) {
            search.evaluate(vertices_.points().part(1, live_ + 1), merits_.subspan(1, live_));
        }
        for (std::size_t i = 1; i <= live_; ++i) {
            sort_in(i);
        }
    }
    void let_go_of_bounds() noexcept { std::ranges::fill(held_, char{0}); }

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
    /// Coordinates in whose bound all vertices lie are held there, and a vertex each is let go: the
    /// worst, unless the others agree in a coordinate then: the size to build it anew with, else 0.
    [[nodiscard]] double hold_flat() noexcept {
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
                return std::max(before, rounding());
            }
        }
        return 0;
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
    [[nodiscard]] R inside(std::size_t k, R x) const noexcept {
        return x >= box_.lower(k) ? std::min(x, box_.upper(k)) : box_.lower(k);
    }
    // All vertices agree there, and are not to differ by rounding.
    [[nodiscard]] bool stays(std::size_t k) const noexcept {
        return held_[k] != 0 || !(box_.width(k) > 0);
    }
    /// The size of the simplex is noted as that from which coordinate k was looked along; gives the
    /// one before.
    double note_look(std::size_t k) noexcept { return std::exchange(looked_[k], size()); }
    void note_look(std::size_t k, double size) noexcept { looked_[k] = size; }
    /// x, off the bound of held coordinate k, is a vertex more.
    void free(std::size_t k, std::span<const R> x, const Merit<R>& merit) noexcept {
        held_[k] = 0;
        ++live_;
        replace_worst(x, merit);
    }

private:
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
};

}  // namespace echosieve::detail
