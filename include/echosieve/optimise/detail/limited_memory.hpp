// What a quasi-Newton method remembers of the curvature: its last few steps.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>

#include "echosieve/optimise/concept.hpp"

namespace echosieve {

// Symbols
//   s, y   a step, and the change of the gradient over it;  H  estimate of the inverse Hessian
//   H = (I - rho s y') H_before (I - rho y s') + rho s s', rho = 1 / s' y, from gamma I with
//   gamma = s' y / y' y of the newest pair
// The two-loop recursion of Liu and Nocedal 1989, Math. Programming 45:503-528 (from memory), over
// the coordinates that are free now: a pair counts with these parts of it, if they show curvature.

/// A pair counts where s' y > this part of |s| |y|.
inline constexpr double least_curvature = 1e-10;

/// The last `memory` pairs of n coordinates. Its arrays come from the workspace, whose scope it
/// must not outlive.
class LimitedMemory {
public:
    LimitedMemory(std::size_t memory, std::size_t n, Workspace& workspace)
        : memory_(memory),
          n_(n),
          pairs_(workspace.take<double>(2 * memory * n)),
          parts_(workspace.take<double>(memory)),
          rho_(workspace.take<double>(memory)) {}

    [[nodiscard]] std::size_t dimension() const noexcept { return n_; }
    [[nodiscard]] std::size_t size() const noexcept { return size_; }
    void clear() noexcept { size_ = 0; }
    /// gamma of the newest pair: length of a step for a gradient of 1; 0 without any.
    [[nodiscard]] double gamma() const noexcept { return size_ > 0 ? gamma_ : 0; }

    /// Remembers a pair, the oldest one forgotten; leaves out one that shows no curvature.
    void add(std::span<const double> s, std::span<const double> y) noexcept {
        double sy = 0;
        double ss = 0;
        double yy = 0;
        for (std::size_t k = 0; k < n_; ++k) {
            sy += s[k] * y[k];
            ss += s[k] * s[k];
            yy += y[k] * y[k];
        }
        if (memory_ == 0 || !counts(sy, ss, yy)) {
            return;
        }
        newest_ = (newest_ + 1) % memory_;
        size_ = std::min(size_ + 1, memory_);
        gamma_ = sy / yy;
        std::ranges::copy(s, step(0).begin());
        std::ranges::copy(y, change(0).begin());
    }

    /// v <- H v over the coordinates k with free[k]; the others are left alone. False, and v as it
    /// was, where no pair counts.
    bool apply(std::span<const char> free, std::span<double> v) noexcept {
        double gamma = 0;
        for (std::size_t i = 0; i < size_; ++i) {  // the newest first
            const std::span<const double> s = step(i);
            const std::span<const double> y = change(i);
            double sy = 0;
            double ss = 0;
            double yy = 0;
            double sv = 0;
            for (std::size_t k = 0; k < n_; ++k) {
                if (free[k] != 0) {
                    sy += s[k] * y[k];
                    ss += s[k] * s[k];
                    yy += y[k] * y[k];
                    sv += s[k] * v[k];
                }
            }
            rho_[i] = counts(sy, ss, yy) ? 1 / sy : 0;
            if (rho_[i] == 0) {
                continue;
            }
            gamma = gamma == 0 ? sy / yy : gamma;
            parts_[i] = rho_[i] * sv;
            subtract(free, parts_[i], y, v);
        }
        if (gamma == 0) {
            return false;
        }
        for (std::size_t k = 0; k < n_; ++k) {
            v[k] *= free[k] != 0 ? gamma : 1;
        }
        for (std::size_t i = size_; i-- > 0;) {
            if (rho_[i] == 0) {
                continue;
            }
            const std::span<const double> y = change(i);
            double yv = 0;
            for (std::size_t k = 0; k < n_; ++k) {
                yv += free[k] != 0 ? y[k] * v[k] : 0;
            }
            subtract(free, rho_[i] * yv - parts_[i], step(i), v);
        }
        return true;
    }

private:
    [[nodiscard]] static bool counts(double sy, double ss, double yy) noexcept {
        return sy > least_curvature * std::sqrt(ss) * std::sqrt(yy) && 1 / sy < 1e300;
    }
    void subtract(std::span<const char> free, double part, std::span<const double> from,
                  std::span<double> v) const noexcept {
        for (std::size_t k = 0; k < n_; ++k) {
            v[k] -= free[k] != 0 ? part * from[k] : 0;
        }
    }
    // The i-th newest pair.
    [[nodiscard]] std::span<double> step(std::size_t i) noexcept {
        return pairs_.subspan(2 * n_ * ((newest_ + memory_ - i) % memory_), n_);
    }
    [[nodiscard]] std::span<double> change(std::size_t i) noexcept {
        return pairs_.subspan(2 * n_ * ((newest_ + memory_ - i) % memory_) + n_, n_);
    }

    std::size_t memory_;
    std::size_t n_;
    std::span<double> pairs_;
    std::span<double> parts_;
    std::span<double> rho_;
    double gamma_ = 0;
    std::size_t newest_ = 0;
    std::size_t size_ = 0;
};

}  // namespace echosieve
