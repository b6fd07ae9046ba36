// The best value known of an echo fit: what methods have to reach.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "echo_fit.hpp"

namespace bench {

/// Found by local fits from many starts, by a solver that none of the methods compared shares.
struct EchoReference {
    double value = 0;  ///< the least of all
    std::vector<double> x;
    double from_truth = 0;  ///< what the fit that starts from the truth ends at
    std::size_t starts = 0;
    std::size_t hits = 0;  ///< starts that ended at `value` to 1e-6 of it
};

/// Levenberg's and Marquardt's method in the box, from x, on the normal equations; x becomes the
/// end. Ends when the value falls by less than 1e-13 of itself. Returns the value.
double fit_locally(const EchoFit& fit, std::vector<double>& x);

/// A fit from the truth, half of `starts` from points anywhere, and half from places where a
/// pursuit puts one echo after another, on one of the highest peaks of what is left.
[[nodiscard]] EchoReference find_reference(const EchoFit& fit, std::size_t starts,
                                           std::uint64_t seed);

}  // namespace bench
