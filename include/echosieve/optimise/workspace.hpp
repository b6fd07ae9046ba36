// Memory of optimisers, kept from run to run.
#pragma once

#include <algorithm>
#include <cstddef>
#include <memory>
#include <new>
#include <span>
#include <type_traits>
#include <vector>

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

}  // namespace echosieve
