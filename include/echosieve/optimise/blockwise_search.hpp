// A search for parameters that come in interchangeable blocks: one block after the other, then all.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <type_traits>
#include <vector>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/part_run.hpp"
#include "echosieve/optimise/detail/scatter.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/detail/tied_blocks.hpp"
#include "echosieve/optimise/levenberg_marquardt.hpp"
#include "echosieve/optimise/limits.hpp"
#include "echosieve/optimise/workspace.hpp"

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
    [[nodiscard]] OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                             std::type_identity_t<std::span<const R>> start,
                                             Watch& observer, Workspace& workspace) const;
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
template <class Local>
void validate(const BlockwiseSearch<Local>& options) {
    require(options.candidates >= 1, "candidates", options.candidates, "must be at least 1");
    validate(limits_of(options), 1);
}

namespace detail {

/// Throws InvalidInput unless the box is made of blocks with the same bounds.
template <Real R>
void check_blocks(const Box<R>& box, std::size_t block) {
    const std::size_t n = box.dimension();
    if (n % block != 0) {
        require(false, "block", block, concatenate("must divide the dimension, ", n));
    }
    for (std::size_t k = block; k < n; ++k) {
        if (box.lower(k) != box.lower(k % block) || box.upper(k) != box.upper(k % block)) {
            require(false, concatenate("bounds of parameter ", k), box.lower(k),
                    concatenate("must be those of parameter ", k % block));
        }
    }
}

// One run: where the parts stand, and the ways to move them.
template <class Local, Real R, class F, class Watch>
class BlockwiseRun {
public:
    BlockwiseRun(const BlockwiseSearch<Local>& options, F& objective, const Box<R>& box,
                 std::uint64_t seed, Watch& observer, Workspace& workspace)
        : options_(options),
          objective_(objective),
          box_(box),
          block_(options.block > 0 ? options.block : box.dimension()),
          blocks_(box.dimension() / block_),
          seed_(seed),
          observer_(observer),
          workspace_(workspace),
          search_(objective, box, limits_of(options), observer, workspace),
          x_(workspace.take<R>(box.dimension())),
          kept_(workspace.take<R>(box.dimension())),
          order_(workspace.take<std::size_t>(blocks_)) {
        for (std::size_t j = 1; j <= blocks_; ++j) {
            const auto first = [&](std::span<const R> bounds) {
                return std::vector<R>(bounds.begin(),
                                      bounds.begin() + static_cast<std::ptrdiff_t>(j * block_));
            };
            boxes_.emplace_back(first(box.lower()), first(box.upper()));
        }
    }

    [[nodiscard]] OptimiseResult<R> run(std::span<const R> start) {
        for (std::size_t k = 0; k < x_.size(); ++k) {
            x_[k] = std::clamp(start.empty() ? box_.lower(k) + box_.width(k) / 2 : start[k],
                               box_.lower(k), box_.upper(k));
        }
        static_cast<void>(search_.evaluate(x_));
        const std::size_t least =
            options_.candidates + start_evaluations(options_.local, x_.size());
        std::size_t failures = 0;
        while (search_.goes_on(least)) {
            RandomStream stream(seed_, search_.iterations());
            const bool from_start = search_.iterations() == 1 && !start.empty();
            const std::size_t moved =
                search_.iterations() == 1 ? blocks_ : std::min(1 + failures / blocks_, blocks_);
            if (!from_start) {
                take_away(moved, failures, stream);
                for (std::size_t j = blocks_ - moved; j < blocks_ && !over(); ++j) {
                    place(j, stream);
                }
            }
            if (over()) {
                continue;
            }
            const Merit<R> merit = settle(blocks_, options_.local.iterations);
            if (merit.better_than(kept_merit_) || moved == blocks_) {
                failures = 0;
                kept_merit_ = merit;
                std::ranges::copy(x_, kept_.begin());
            } else {
                ++failures;
            }
        }
        return search_.result();
    }

private:
    [[nodiscard]] bool over() const noexcept { return search_.ended() || search_.target_reached(); }

    // Puts the parts that stay first; those that stay settle without the others.
    void take_away(std::size_t moved, std::size_t turn, RandomStream& stream) {
        if (moved == blocks_) {
            return;
        }
        for (std::size_t j = 0; j < blocks_; ++j) {
            order_[j] = j;
        }
        for (std::size_t j = 0; j < moved; ++j) {
            const std::size_t last = blocks_ - 1 - j;
            // One part alone is taken in turn, several at random.
            const std::size_t pick = moved == 1 ? turn % blocks_ : stream.index(last + 1);
            std::swap(order_[pick], order_[last]);
        }
        for (std::size_t j = 0; j < blocks_; ++j) {
            std::ranges::copy(kept_.subspan(order_[j] * block_, block_),
                              x_.subspan(j * block_, block_).begin());
        }
        static_cast<void>(settle(blocks_ - moved, options_.settling));
    }

    // Finds a place for part j; the parts after it stand where it stands.
    void place(std::size_t j, RandomStream& stream) {
        if (search_.remaining() < options_.candidates) {
            search_.end(OptimiseStatus::evaluation_limit);
            return;
        }
        {
            const Workspace::Scope scope(workspace_);
            const std::size_t count = options_.candidates;
            PointTable<R> table(count, x_.size(), workspace_);
            const auto merits = workspace_.template take<Merit<R>>(count);
            for (std::size_t i = 0; i < count; ++i) {
                table.write(i, x_);
            }
            scatter(boxes_[0], stream, count, table, j * block_);
            for (std::size_t k = (j + 1) * block_; k < x_.size(); ++k) {
                std::ranges::copy(table.coordinate(j * block_ + k % block_),
                                  table.coordinate(k).begin());
            }
            search_.evaluate(table, merits);
            std::size_t best = 0;
            for (std::size_t i = 1; i < count; ++i) {
                best = merits[i].better_than(merits[best]) ? i : best;
            }
            table.points().read(best, x_);
        }
        if (j + 1 < blocks_ && !over()) {
            static_cast<void>(settle(j + 1, options_.settling));
        }
    }

    // Runs the local method on the first `placed` parts; the others stand where the last of them
    // does.
    Merit<R> settle(std::size_t placed, std::size_t iterations) {
        if (iterations == 0 ||
            search_.remaining() < start_evaluations(options_.local, placed * block_)) {
            return {};
        }
        Local local = options_.local;
        local.iterations = iterations;
        const std::uint64_t seed = part_seed(seed_, ++parts_);
        const Workspace::Scope scope(workspace_);
        if (placed == blocks_) {
            const OptimiseResult<R> found = run_part(search_, local, objective_, box_, seed,
                                                     std::span<const R>(x_), observer_, workspace_);
            std::ranges::copy(found.x, x_.begin());
            return {found.value, found.violation};
        }
        const std::size_t free = placed * block_;
        TiedBlocks<R, F> tied(objective_, x_.size(), block_, free, workspace_);
        const OptimiseResult<R> found =
            run_part(search_, local, tied, boxes_[placed - 1], seed,
                     std::span<const R>(x_).first(free), observer_, workspace_, false);
        tied.expand(found.x, x_);
        search_.take_in({found.value, found.violation}, x_);
        return {found.value, found.violation};
    }

    const BlockwiseSearch<Local>& options_;
    F& objective_;
    const Box<R>& box_;
    std::size_t block_;
    std::size_t blocks_;
    std::vector<Box<R>> boxes_;  // of the first part, of the first two, ...
    std::uint64_t seed_;
    Watch& observer_;
    Workspace& workspace_;
    Search<R, F, Watch> search_;
    std::span<R> x_;     // where the parts stand now
    std::span<R> kept_;  // the best that was reached since all parts were placed anew
    Merit<R> kept_merit_;
    std::span<std::size_t> order_;
    std::uint64_t parts_ = 0;  // local runs so far
};

}  // namespace detail

template <LimitedOptimiser Local>
template <class F, Real R, class Watch>
requires Objective<F, R> && Observer<Watch, R>
OptimiseResult<R> BlockwiseSearch<Local>::minimise(F& objective, const Box<R>& box,
                                                   std::uint64_t seed,
                                                   std::type_identity_t<std::span<const R>> start,
                                                   Watch& observer, Workspace& workspace) const {
    validate(*this);
    detail::check_search_input(box, start);
    detail::check_population<R>("candidates", candidates, box.dimension());
    detail::check_blocks(box, block > 0 ? block : box.dimension());
    const Workspace::Scope scope(workspace);
    return detail::BlockwiseRun<Local, R, F, Watch>(*this, objective, box, seed, observer,
                                                    workspace)
        .run(start);
}

}  // namespace echosieve
