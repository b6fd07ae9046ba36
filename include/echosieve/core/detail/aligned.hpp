// Memory that starts where a cache line does.
#pragma once

#include <cstddef>
#include <new>
#include <vector>

namespace echosieve {

/// Bytes of a cache line, and of the widest register.
inline constexpr std::size_t cache_line = 64;

/// An allocator for std::vector. A register's worth of numbers that straddles two lines costs two
/// accesses; with the standard allocator, AVX-512's all do.
template <class T>
struct AlignedAllocator {
    using value_type = T;

    AlignedAllocator() = default;
    template <class U>
    AlignedAllocator(const AlignedAllocator<U>&) noexcept {}

    [[nodiscard]] T* allocate(std::size_t count) {
        return static_cast<T*>(
            ::operator new(count * sizeof(T), static_cast<std::align_val_t>(cache_line)));
    }
    void deallocate(T* memory, std::size_t) noexcept {
        ::operator delete(memory, static_cast<std::align_val_t>(cache_line));
    }
    friend bool operator==(const AlignedAllocator&, const AlignedAllocator&) noexcept {
        return true;
    }
};

template <class T>
using AlignedVector = std::vector<T, AlignedAllocator<T>>;

}  // namespace echosieve
