#include "echosieve/kernels/detail/phasors.hpp"

#include <algorithm>
#include <cmath>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "phasors_kernel.hpp"

namespace echosieve {

void write_phasors(std::span<const double> delays, const FrequencyRow& frequencies,
                   std::span<std::complex<double>> out, InstructionSet set) {
    if (!available(set)) {
        validate(set);
    }
    if (frequencies.bins == 0 ? !out.empty()
                              : out.size() % frequencies.bins != 0 ||
                                    out.size() / frequencies.bins != delays.size()) {
        require(false, "numbers to write", out.size(),
                detail::concatenate("must be ", delays.size(), " times ", frequencies.bins));
    }
    if (out.empty()) {
        return;
    }
    const double last =
        frequencies.first + static_cast<double>(frequencies.bins - 1) * frequencies.step;
    if (!is_finite(frequencies.first) || !is_finite(frequencies.step) || !is_finite(last)) {
        require(false, "angular frequencies", detail::concatenate(frequencies.first, " to ", last),
                "must be finite [rad/s]");
    }
    const double steepest =
        std::max({std::abs(frequencies.first), std::abs(frequencies.step), std::abs(last)});
    for (const double delay : delays) {
        // False for NaN.
        if (!(std::abs(delay) * steepest <= largest_phasor_angle)) {
            require(false, "angle", delay * steepest,
                    detail::concatenate("must not exceed ", largest_phasor_angle, " [rad]"));
        }
    }
    kernels::write_phasors_of(set)({delays.data(), delays.size(), frequencies.first,
                                    frequencies.step, frequencies.bins,
                                    reinterpret_cast<double*>(out.data())});
}

}  // namespace echosieve
