// A sampled signal in memory that somebody else owns.
#pragma once

#include <concepts>
#include <cstddef>
#include <iterator>
#include <span>
#include <type_traits>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"

namespace echosieve {

/// Samples one after the other in memory: a span, a vector, an array.
template <class S>
concept SampleSequence = requires(const S& samples) {
    { std::size(samples) } -> std::convertible_to<std::size_t>;
    requires Sample<std::remove_cvref_t<decltype(*std::data(samples))>>;
};

/// Samples with the grid that they lie on. Complex samples are analytic or baseband, real ones
/// unmixed.
template <Sample T>
struct Signal {
    std::span<const T> samples;
    SamplingGrid grid;
};

/// Throws InvalidInput unless the sizes agree, the grid is valid, every sample is finite, and a
/// real signal's grid has no mixing frequency.
template <Sample T>
void validate(const Signal<T>& signal) {
    validate(signal.grid);
    require(signal.samples.size() == signal.grid.count, "number of samples", signal.samples.size(),
            detail::concatenate("must equal the grid's count, ", signal.grid.count));
    if constexpr (!is_complex<T>) {
        require(signal.grid.mixing_frequency == 0, "mixing_frequency", signal.grid.mixing_frequency,
                "must be 0 for real samples [Hz]");
    }
    for (std::size_t i = 0; i < signal.samples.size(); ++i) {
        if constexpr (is_complex<T>) {
            require(is_finite(signal.samples[i].real()) && is_finite(signal.samples[i].imag()),
                    detail::concatenate("sample ", i), signal.samples[i], "must be finite");
        } else {
            require(is_finite(signal.samples[i]), detail::concatenate("sample ", i),
                    signal.samples[i], "must be finite");
        }
    }
}

}  // namespace echosieve
