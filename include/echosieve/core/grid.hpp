// Where the samples of a signal lie in time, and by which frequency it has been shifted down.
#pragma once

#include <cstddef>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

/// An even sampling grid. Sample i lies at start_time + i / sampling_rate.
///
/// Time is kept in double whatever the sample type: at 20 us and 4 MHz the rounding of a float time
/// alone is 5e-5 rad of phase.
///
/// mixing_frequency is the frequency f_m that a complex baseband signal has been shifted down by:
/// the samples are x(t) exp(-i 2 pi f_m t), with t absolute, not counted from the grid's start. It
/// is 0 for a real or an analytic signal. Frequencies of atoms stay absolute in either case.
struct SamplingGrid {
    double start_time = 0;        ///< [s]
    double sampling_rate = 1;     ///< [Hz], > 0
    std::size_t count = 0;        ///< number of samples
    double mixing_frequency = 0;  ///< [Hz]

    /// Time of sample `index` [s]; fractional indices are allowed.
    [[nodiscard]] constexpr double time(double index) const noexcept {
        return start_time + index / sampling_rate;
    }
    /// Fractional index of `time` [s].
    [[nodiscard]] constexpr double index(double time) const noexcept {
        return (time - start_time) * sampling_rate;
    }
    [[nodiscard]] constexpr double step() const noexcept { return 1 / sampling_rate; }
    /// Time of the last sample [s]; start_time - step() when the grid is empty.
    [[nodiscard]] constexpr double end_time() const noexcept {
        return time(static_cast<double>(count) - 1);
    }
    /// The grid of the samples first .. first + length - 1.
    [[nodiscard]] constexpr SamplingGrid part(std::size_t first,
                                              std::size_t length) const noexcept {
        return {time(static_cast<double>(first)), sampling_rate, length, mixing_frequency};
    }

    friend constexpr bool operator==(const SamplingGrid&, const SamplingGrid&) = default;
};

/// Samples first .. last - 1 of a grid.
struct SampleRange {
    std::size_t first = 0;
    std::size_t last = 0;

    [[nodiscard]] constexpr std::size_t count() const noexcept { return last - first; }
    friend constexpr bool operator==(const SampleRange&, const SampleRange&) = default;
};

/// Throws InvalidInput unless the grid's rate is positive and all its numbers are finite.
inline void validate(const SamplingGrid& grid) {
    require(is_finite(grid.start_time), "start_time", grid.start_time, "must be finite [s]");
    require(grid.sampling_rate > 0 && is_finite(grid.sampling_rate), "sampling_rate",
            grid.sampling_rate, "must be positive and finite [Hz]");
    require(is_finite(grid.mixing_frequency), "mixing_frequency", grid.mixing_frequency,
            "must be finite [Hz]");
}

/// An interval of time, ends included [s]: where an echo may arrive.
struct Gate {
    double begin = 0;
    double end = 0;

    [[nodiscard]] constexpr double length() const noexcept { return end - begin; }
    [[nodiscard]] constexpr double centre() const noexcept { return begin + (end - begin) / 2; }
    [[nodiscard]] constexpr bool contains(double time) const noexcept {
        return time >= begin && time <= end;
    }
    friend constexpr bool operator==(const Gate&, const Gate&) = default;
};

inline void validate(const Gate& gate) {
    require(is_finite(gate.begin), "gate.begin", gate.begin, "must be finite [s]");
    require(is_finite(gate.end) && gate.end >= gate.begin, "gate.end", gate.end,
            "must be finite and not before gate.begin [s]");
}

}  // namespace echosieve
