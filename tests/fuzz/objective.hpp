// An objective that may be anything, for every kind of optimiser, and what a minimisation of it
// must keep to.
#pragma once

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/core/box.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/result.hpp"
#include "input.hpp"
#include "refused.hpp"

namespace echosieve::fuzz {

/// Thrown by an objective that was asked too often: no option of a run here asks for that many.
struct AskedTooOften {};

/// Smooth, stepped, flat, monstrous, or not a number here and there; with a gradient and normal
/// equations, which may be lies.
template <Real R>
class AnyObjective {
public:
    static constexpr std::size_t most_calls = 200'000;

    AnyObjective(FuzzInput& in, const Box<R>& box) : box_(&box), kind_(in.byte() % 8) {
        for (std::size_t k = 0; k < box.dimension(); ++k) {
            centre_.push_back(in.between(-1, 1));
            unit_.push_back(in.number(1));
        }
        lies_ = in.byte() < 64;
        poison_ = in.byte() < 200 ? 0 : in.byte();
        offset_ = in.between(-1, 1);
    }

    R operator()(std::span<const R> x) {
        if (++calls_ > most_calls) {
            throw AskedTooOften{};
        }
        hold(box_->contains(x), "an evaluation outside the box");
        return static_cast<R>(value(x));
    }
    R value_and_gradient(std::span<const R> x, std::span<R> gradient) {
        for (std::size_t k = 0; k < x.size(); ++k) {
            gradient[k] = static_cast<R>(slope(x, k));
        }
        return (*this)(x);
    }
    R normal_equations(std::span<const R> x, std::span<R> gram, std::span<R> gradient) {
        const std::size_t n = x.size();
        for (std::size_t k = 0; k < n; ++k) {
            for (std::size_t j = 0; j < n; ++j) {
                gram[k * n + j] = static_cast<R>(lies_    ? noise(x, k * n + j)
                                                 : j == k ? 1 / unit_[k] / unit_[k]
                                                          : 0);
            }
            gradient[k] = static_cast<R>(slope(x, k) / 2);
        }
        return (*this)(x);
    }

protected:
    // The same for the same point; mostly of order one.
    [[nodiscard]] double noise(std::span<const R> x, std::size_t salt) const {
        std::uint64_t hash = 0x9E3779B97F4A7C15U * (salt + 1);
        for (const R c : x) {
            hash =
                (hash ^ std::bit_cast<std::uint64_t>(static_cast<double>(c))) * 0xBF58476D1CE4E5B9U;
            hash ^= hash >> 29;
        }
        return hash % 61 == 0 ? std::numeric_limits<double>::quiet_NaN()
                              : static_cast<double>(hash >> 40) * 0x1p-23 - 1;
    }
    [[nodiscard]] double poisoned(std::span<const R> x, double good) const {
        const double chance = poison_ > 0 ? (noise(x, 7) + 1) * 128 : 256;
        return chance >= poison_  ? good
               : poison_ % 2 == 0 ? std::numeric_limits<double>::infinity()
                                  : -std::numeric_limits<double>::infinity();
    }
    [[nodiscard]] double bowl(std::span<const R> x) const {
        double sum = 0;
        for (std::size_t k = 0; k < x.size(); ++k) {
            const double r = (static_cast<double>(x[k]) - centre_[k]) / unit_[k];
            sum += r * r;
        }
        return sum;
    }
    [[nodiscard]] double value(std::span<const R> x) const {
        switch (kind_) {
            case 0:
            case 1:
                return poisoned(x, bowl(x));
            case 2:
                return poisoned(x, std::floor(4 * bowl(x)));
            case 3:
                return offset_;
            case 4:
                return poisoned(x, noise(x, 3));
            case 5:
                return poisoned(x, 1e308 * bowl(x));
            case 6:
                return poisoned(x, -bowl(x));
            default:
                return std::numeric_limits<double>::quiet_NaN();
        }
    }
    [[nodiscard]] double slope(std::span<const R> x, std::size_t k) const {
        return lies_ ? noise(x, k)
                     : 2 * (static_cast<double>(x[k]) - centre_[k]) / unit_[k] / unit_[k];
    }

    const Box<R>* box_;
    int kind_;
    std::vector<double> centre_;
    std::vector<double> unit_;
    bool lies_ = false;
    int poison_ = 0;  // of 256 points so many are no good
    double offset_ = 0;
    std::size_t calls_ = 0;
};

/// The same under constraints.
template <Real R>
class AnyConstrained : public AnyObjective<R> {
public:
    AnyConstrained(FuzzInput& in, const Box<R>& box)
        : AnyObjective<R>(in, box),
          inequalities_(in.byte() % 3),
          equalities_(in.byte() < 200 ? 0 : 1),
          tolerance_(in.number(1e-4)) {}

    [[nodiscard]] std::size_t inequalities() const { return inequalities_; }
    [[nodiscard]] std::size_t equalities() const { return equalities_; }
    [[nodiscard]] R equality_tolerance() const { return static_cast<R>(tolerance_); }
    void constrain(std::span<const R> x, std::span<R> g, std::span<R> h) const {
        for (std::size_t i = 0; i < g.size() + h.size(); ++i) {
            const double plane =
                static_cast<double>(x[i % x.size()]) / this->unit_[0] - this->offset_;
            (i < g.size() ? g[i] : h[i - g.size()]) = static_cast<R>(this->poisoned(x, plane));
        }
    }
    void constraint_jacobian(std::span<const R> x, std::span<R> jacobian_g,
                             std::span<R> jacobian_h) const {
        const std::size_t n = x.size();
        for (std::size_t i = 0; i < inequalities_ + equalities_; ++i) {
            for (std::size_t k = 0; k < n; ++k) {
                const double slope = this->lies_  ? this->noise(x, k)
                                     : k == i % n ? 1 / this->unit_[0]
                                                  : 0;
                (i < inequalities_ ? jacobian_g[i * n + k]
                                   : jacobian_h[(i - inequalities_) * n + k]) =
                    static_cast<R>(slope);
            }
        }
    }

private:
    std::size_t inequalities_;
    std::size_t equalities_;
    double tolerance_;
};

/// Throws InvalidInput for a box that is none.
template <Real R>
[[nodiscard]] Box<R> any_search_box(FuzzInput& in) {
    const std::size_t n = in.byte() < 250 ? 1 + in.byte() % 4 : in.byte() % 16;
    std::vector<R> lower;
    std::vector<R> upper;
    const auto narrow = [](double x) {  // what a cast would leave undefined
        return static_cast<R>(is_finite(x) && std::abs(x) >
                                                  static_cast<double>(std::numeric_limits<R>::max())
                                  ? std::numeric_limits<double>::infinity()
                                  : x);
    };
    const bool alike = in.flag();
    for (std::size_t k = 0; k < n; ++k) {
        lower.push_back(alike && k > 0 ? lower[0] : narrow(in.number(-2)));
        upper.push_back(alike && k > 0 ? upper[0] : narrow(in.number(2)));
    }
    return Box<R>(std::move(lower), std::move(upper));
}

/// The limits that all optimisers have.
template <class O>
void set_limits(FuzzInput& in, O& optimiser) {
    optimiser.iterations = in.count(0, 60);
    optimiser.max_evaluations =
        in.byte() < 128 ? in.count(0, 3000) : std::numeric_limits<std::size_t>::max();
    optimiser.target = in.flag() ? in.number(0.1) : -std::numeric_limits<double>::infinity();
    optimiser.tolerance = in.flag() ? in.number(1e-6) : 0;
    optimiser.stagnation_iterations = in.number_of(8);
}

/// Runs it, and checks what every optimiser promises.
template <Real R, class Function, class O>
void minimise_anything(FuzzInput& in, const O& optimiser, std::size_t max_evaluations) {
    static_cast<void>(accepted([&] {
        const Box<R> box = any_search_box<R>(in);
        Function objective(in, box);
        std::vector<R> start;
        if (in.flag()) {
            for (std::size_t k = in.byte() < 250 ? 0 : 1; k < box.dimension(); ++k) {
                const double x = in.number(0.5);
                start.push_back(std::abs(x) < 1e30 || !is_finite(x) ? static_cast<R>(x) : R{1});
            }
        }
        const int says = in.byte();
        std::size_t asked = 0;
        const auto watch = [&](const Progress<R>&) {
            return ++asked * 8 < static_cast<std::size_t>(says) || says < 128 ? Control::go_on
                   : says % 2 == 0                                            ? Control::stop
                                                                              : Control::abort;
        };
        OptimiseResult<R> found;
        try {
            found = minimise<R>(objective, box, optimiser, in.byte(), start, watch);
        } catch (const AskedTooOften&) {
            return;
        }
        hold(found.status != OptimiseStatus::not_run, "a run that did not run");
        hold(found.evaluations <= max_evaluations, "more evaluations than allowed");
        hold(found.non_finite <= found.evaluations, "more values of no use than values");
        hold(found.x.size() == box.dimension() && box.contains(found.x),
             "a result outside its box");
        hold(!found.usable() || is_finite(found.value), "a usable result without a value");
    }));
}

}  // namespace echosieve::fuzz
