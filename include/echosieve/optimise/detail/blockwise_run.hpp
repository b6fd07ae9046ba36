// One run of a blockwise search: where the parts stand, and the ways to move them.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <span>
#include <utility>
#include <vector>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/part_run.hpp"
#include "echosieve/optimise/detail/point_table.hpp"
#include "echosieve/optimise/detail/scatter.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/detail/tied_blocks.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve::detail {

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
// Options are a BlockwiseSearch.
template <class Options, class F, Real R, class Watch>
class BlockwiseRun {
public:
    BlockwiseRun(const Options& options, const OptimiseTask<F, R, Watch>& task)
        : options_((validate(options), options)),
          box_(task.box),
          workspace_(task.workspace),
          search_(task, limits_of(options)),
          block_(checked_block()),
          blocks_(box_.dimension() / block_),
          x_(workspace_.take<R>(box_.dimension())),
          kept_(workspace_.take<R>(box_.dimension())),
          order_(workspace_.take<std::size_t>(blocks_)) {
        for (std::size_t j = 1; j <= blocks_; ++j) {
            const auto first = [&](std::span<const R> bounds) {
                return std::vector<R>(bounds.begin(),
                                      bounds.begin() + static_cast<std::ptrdiff_t>(j * block_));
            };
            boxes_.emplace_back(first(box_.lower()), first(box_.upper()));
        }
    }

    [[nodiscard]] OptimiseResult<R> run() {
        search_.write_start(x_);
        static_cast<void>(search_.evaluate(x_));
        const std::size_t least =
            options_.candidates + start_evaluations(options_.local, x_.size());
        std::size_t failures = 0;
        while (search_.goes_on(least)) {
            RandomStream stream(search_.task().seed, search_.iterations());
            const bool from_start = search_.iterations() == 1 && !search_.task().start.empty();
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
    [[nodiscard]] std::size_t checked_block() const {
        check_population<R>("candidates", options_.candidates, box_.dimension());
        const std::size_t block = options_.block > 0 ? options_.block : box_.dimension();
        check_blocks(box_, block);
        return block;
    }
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
            const std::span<Merit<R>> merits = workspace_.take<Merit<R>>(count);
            for (std::size_t i = 0; i < count; ++i) {
                table.write(i, x_);
            }
            scatter(boxes_[0], stream, count, table, j * block_);
            for (std::size_t k = (j + 1) * block_; k < x_.size(); ++k) {
                std::ranges::copy(table.coordinate(j * block_ + k % block_),
                                  table.coordinate(k).begin());
            }
            search_.evaluate(table, merits);
            table.points().read(best_of(std::span<const Merit<R>>(merits)), x_);
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
        auto local = options_.local;
        local.iterations = iterations;
        const OptimiseTask<F, R, Watch>& task = search_.task();
        const std::uint64_t seed = part_seed(search_.task().seed, ++parts_);
        const Workspace::Scope scope(workspace_);
        if (placed == blocks_) {
            const OptimiseResult<R> found =
                run_part(search_, local,
                         OptimiseTask{task.objective, box_, seed, x_, task.observer, workspace_});
            std::ranges::copy(found.x, x_.begin());
            return {found.value, found.violation};
        }
        const std::size_t free = placed * block_;
        TiedBlocks<R, F> tied(task.objective, {x_.size(), block_, free}, workspace_);
        const OptimiseResult<R> found = run_part(
            search_, local,
            OptimiseTask{tied, boxes_[placed - 1], seed, x_.first(free), task.observer, workspace_},
            false);
        tied.expand(found.x, x_);
        search_.take_in({found.value, found.violation}, x_);
        return {found.value, found.violation};
    }

    const Options& options_;
    const Box<R>& box_;
    Workspace& workspace_;
    Search<F, R, Watch> search_;
    std::size_t block_;
    std::size_t blocks_;
    std::vector<Box<R>> boxes_;  // of the first part, of the first two, ...
    std::span<R> x_;             // where the parts stand now
    std::span<R> kept_;          // the best that was reached since all parts were placed anew
    Merit<R> kept_merit_;
    std::span<std::size_t> order_;
    std::uint64_t parts_ = 0;  // local runs so far
};

}  // namespace echosieve::detail
