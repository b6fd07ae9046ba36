// A search for parameters that come in interchangeable blocks: one block after the other, then all.
#pragma once

#include <cstddef>
#include <limits>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/blockwise_run.hpp"
#include "echosieve/optimise/levenberg_marquardt.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

/// For objectives of several alike parts, such as the echoes of a sum, whose value is the same in
/// whatever order the parts come, and for which two equal parts do what one does: amplitudes that
/// are fitted or projected out, with a prior, however weak, that keeps the value continuous where
/// two equal parts separate.
///
/// The parts are placed one after the other, those still to come held equal to the last one placed:
/// `candidates` places are tried for it as one batch, the best is taken, and all that is placed so
/// far settles in a few iterations of the local method. When all are placed, the local method runs
/// to its end. Each later iteration takes one part away, lets the others settle, finds a place for
/// it anew, and keeps what the local method makes of that if it is better; when no part can be
/// moved to advantage, more and more are, and at last all. A matching pursuit, in other words, that
/// knows of its signal nothing but the objective.
///
/// The box must be the same for all parts. The observer is asked within local runs too, with the
/// number of the iteration under way. Constraints are left to the local method.
template <LimitedOptimiser Local = LevenbergMarquardt>
struct BlockwiseSearch {
    Local local{};
    std::size_t block = 0;       ///< parameters of a part, a divisor of the dimension; 0: all
    std::size_t candidates = 8;  ///< places tried for a part; at least 1
    std::size_t settling = 2;    ///< iterations of the local method after each part is placed
    std::size_t iterations = 1000;
    double target = -std::numeric_limits<double>::infinity();  ///< this and the next: see Limits
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();

    [[nodiscard]] std::size_t start_evaluations(std::size_t) const { return 1; }

    /// Evaluates the start point, or the box's centre, first. Throws InvalidInput for invalid
    /// options, a block that does not divide the dimension, parts with different bounds, a start of
    /// another dimension or with a NaN, or a box whose width is not finite; and what the local
    /// method throws.
    /// It allocates the x of each local run's result.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R>
    [[nodiscard]] OptimiseResult<R> minimise(const OptimiseTask<F, R, Watch>& task) const {
        return detail::BlockwiseRun(*this, task).run();
    }
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
template <class Local>
void validate(const BlockwiseSearch<Local>& options) {
    require(options.candidates >= 1, "candidates", options.candidates, "must be at least 1");
    validate(limits_of(options), 1);
}

}  // namespace echosieve
