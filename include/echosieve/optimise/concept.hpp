// What an optimiser is; and minimise(), which runs any optimiser, with the memory that it takes
// its arrays from.
#pragma once

#include <algorithm>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <new>
#include <span>
#include <type_traits>
#include <vector>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/optimise/detail/judge_result.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

/// Memory that runs of any optimiser take their arrays from: once it has its size, a run allocates
/// nothing here. One workspace a thread. Runs may nest.
class Workspace {
public:
    /// Gives back, at its end, all that was taken since it was made.
    class Scope {
    public:
        explicit Scope(Workspace& workspace) noexcept
            : workspace_(workspace), block_(workspace.block_), used_(workspace.used_) {}
        Scope(const Scope&) = delete;
        Scope& operator=(const Scope&) = delete;
        ~Scope() { workspace_.give_back(block_, used_); }

    private:
        Workspace& workspace_;
        std::size_t block_;
        std::size_t used_;
    };

    /// An array of `count` copies of `value`, until the innermost scope ends.
    template <class T>
    requires std::is_trivially_destructible_v<T> && std::is_trivially_copyable_v<T>
    [[nodiscard]] std::span<T> take(std::size_t count, const T& value = T{}) {
        static_assert(alignof(T) <= alignment);
        const std::span<T> out{static_cast<T*>(bytes(count * sizeof(T))), count};
        std::uninitialized_fill(out.begin(), out.end(), value);
        return out;
    }

private:
    static constexpr std::size_t alignment = alignof(std::max_align_t);

    struct Block {
        std::unique_ptr<std::byte[]> memory;
        std::size_t size = 0;
    };

    void* bytes(std::size_t count) {
        const std::size_t needed = (count + alignment - 1) / alignment * alignment;
        while (block_ < blocks_.size() && blocks_[block_].size - used_ < needed) {
            ++block_;
            used_ = 0;
        }
        if (block_ == blocks_.size()) {
            const std::size_t size = std::max<std::size_t>(needed, 4096);
            blocks_.push_back({std::make_unique<std::byte[]>(size), size});
        }
        void* out = blocks_[block_].memory.get() + used_;
        used_ += needed;
        return out;
    }
    void give_back(std::size_t block, std::size_t used) noexcept {
        block_ = block;
        used_ = used;
    }

    std::vector<Block> blocks_;
    std::size_t block_ = 0;  // what lies before `used_` of this block is taken
    std::size_t used_ = 0;
};

/// What a run is given beside the optimiser's own options.
template <class F, Real R, class Watch>
struct OptimiseTask {
    F& objective;
    const Box<R>& box;
    std::uint64_t seed;
    std::span<const R> start;  ///< empty, or a point, which is clamped to the box
    Watch& observer;
    Workspace& workspace;
};
// clang 16 deduces no aggregates by itself.
template <class F, Real R, class Watch>
OptimiseTask(F&, const Box<R>&, std::uint64_t, std::type_identity_t<std::span<const R>>, Watch&,
             Workspace&) -> OptimiseTask<F, R, Watch>;

namespace detail {

// An optimiser that takes a task, as those of the library do.
template <class O, class R, class F, class Watch>
concept TakesTask = requires(const O& optimiser, const OptimiseTask<F, R, Watch>& task) {
    { optimiser.minimise(task) } -> std::same_as<OptimiseResult<R>>;
};
// One that takes its parts, as a user's may.
template <class O, class R, class F, class Watch>
concept TakesParts = requires(const O& optimiser, F& objective, const Box<R>& box,
                              std::uint64_t seed, std::span<const R> start, Watch& observer) {
    {
        optimiser.minimise(objective, box, seed, start, observer)
    } -> std::same_as<OptimiseResult<R>>;
};

}  // namespace detail

/// An optimiser minimises any objective over a box with a seed and an observer:
/// minimise(objective, box, seed, start, observer) const, or minimise(task) const if it likes a
/// workspace. Options are its members; a const object may be shared between threads. Every
/// evaluation lies inside the box, `start` (empty, or a point, which is clamped to the box) is
/// evaluated first, and the same seed gives the same bits.
template <class O, class R>
concept Optimiser = Real<R> && (detail::TakesTask<O, R, detail::ProbeObjective<R>, NoObserver> ||
                                detail::TakesParts<O, R, detail::ProbeObjective<R>, NoObserver>);

/// Runs a task with the arrays of its workspace, which may serve many runs. What an optimiser from
/// outside the library gives back is judged anew, see judge_result.hpp: one that is blind to
/// constraints can't call its point feasible.
template <class F, Real R, class Watch, class O>
requires Objective<F, R> && Optimiser<O, R> && Observer<Watch, R>
[[nodiscard]] OptimiseResult<R> minimise(const OptimiseTask<F, R, Watch>& task,
                                         const O& optimiser) {
    if constexpr (detail::TakesTask<O, R, F, Watch>) {
        return detail::judged(optimiser.minimise(task), task.objective, task.box);
    } else {
        return detail::judged(
            optimiser.minimise(task.objective, task.box, task.seed, task.start, task.observer),
            task.objective, task.box);
    }
}

/// Minimises `objective` over `box`, which alone settles the scalar type: so `start` may be any
/// contiguous range of R. Throws what the optimiser's validate(), the objective or the observer
/// throws, and InvalidInput if the optimiser gives back a point of another dimension than the box.
template <Real R, class F, class O, class Watch = NoObserver>
requires Objective<F, R> && Optimiser<O, R> && Observer<Watch, R>
[[nodiscard]] OptimiseResult<R> minimise(F&& objective, const Box<R>& box, const O& optimiser,
                                         std::uint64_t seed,
                                         std::type_identity_t<std::span<const R>> start = {},
                                         Watch&& observer = {}) {
    Workspace workspace;
    return minimise(OptimiseTask{objective, box, seed, start, observer, workspace}, optimiser);
}

}  // namespace echosieve
