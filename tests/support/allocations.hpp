// Counts what a binary allocates, in operator new and malloc's way past it that Eigen takes. For
// one file of a binary.
#pragma once

#include <atomic>
#include <cstddef>
#include <cstdlib>
#include <new>

namespace {

// Tests on several threads share the binary.
std::atomic<std::size_t> allocations = 0;
std::atomic<std::size_t> allocated_bytes = 0;

}  // namespace

#if defined(__has_feature)
#if __has_feature(address_sanitizer)
#define ECHOSIEVE_TEST_SANITISED
#endif
#endif
#if defined(__SANITIZE_ADDRESS__)
#define ECHOSIEVE_TEST_SANITISED
#endif

#if defined(__GLIBC__) && !defined(ECHOSIEVE_TEST_SANITISED)

// Both operator new and Eigen come by here.
extern "C" void* __libc_malloc(std::size_t size);
extern "C" void* malloc(std::size_t size) noexcept {
    ++allocations;
    allocated_bytes += size;
    return __libc_malloc(size);
}

#else

// A sanitiser has its own malloc: there, operator new alone is counted.
void* operator new(std::size_t size) {
    ++allocations;
    allocated_bytes += size;
    if (void* memory = std::malloc(size > 0 ? size : 1)) {
        return memory;
    }
    throw std::bad_alloc();
}
// Else the sanitiser's own would be freed by what follows: std::stable_sort asks for it.
void* operator new(std::size_t size, const std::nothrow_t&) noexcept {
    ++allocations;
    allocated_bytes += size;
    return std::malloc(size > 0 ? size : 1);
}
void operator delete(void* memory) noexcept {
    std::free(memory);
}
void operator delete(void* memory, std::size_t) noexcept {
    std::free(memory);
}

#endif
