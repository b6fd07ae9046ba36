// What tests and benches of following frame by frame share: a recording's first part, to learn
// from, and the spread of errors.
#pragma once

#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <variant>
#include <vector>

#include "echosieve/core/recording.hpp"

namespace echosieve::test {

/// The first `frames` frames of a recording, which has as many.
inline Recording first_part(const Recording& whole, std::size_t frames) {
    return std::visit(
        [&]<class T>(const FrameMatrix<T>& all) {
            const std::span<const T> part = all.values().first(frames * all.samples());
            return Recording{
                whole.settings,
                FrameMatrix<T>(std::vector<T>(part.begin(), part.end()), frames, all.samples())};
        },
        whole.samples);
}

/// Standard deviation of numbers that come one by one: of errors whose mean is no error of motion
/// (Welford 1962).
class Spread {
public:
    void add(double x) noexcept {
        ++count_;
        const double before = x - mean_;
        mean_ += before / static_cast<double>(count_);
        square_ += before * (x - mean_);
    }
    [[nodiscard]] std::size_t count() const noexcept { return count_; }
    /// NaN of nothing.
    [[nodiscard]] double deviation() const noexcept {
        return count_ > 0 ? std::sqrt(square_ / static_cast<double>(count_))
                          : std::numeric_limits<double>::quiet_NaN();
    }

private:
    std::size_t count_ = 0;
    double mean_ = 0;
    double square_ = 0;
};

}  // namespace echosieve::test
