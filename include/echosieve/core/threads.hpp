// The same work on many items, on several threads: only when asked, and with the same bits as on
// one.
#pragma once

// For machines without threads: ECHOSIEVE_THREADS=0, alike in all files of a program (in CMake the
// option ECHOSIEVE_THREADS). All work is then the caller's own, whatever number it asks for.
#ifndef ECHOSIEVE_THREADS
#define ECHOSIEVE_THREADS 1
#endif

#include <algorithm>
#include <cstddef>
#if ECHOSIEVE_THREADS
#include <atomic>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>
#endif

#include "echosieve/core/error.hpp"

namespace echosieve {

// Both functions call the work on the calling thread and on threads - 1 further ones, which have
// ended when they return; with one thread, or one item, none is started. The work must not depend
// on which thread runs it or when: an item writes to a place of its own, and draws its random
// numbers from a stream of its own. Then the results are the same, bit by bit, on any number of
// threads.
//
// Of several exceptions the one of the first item in order is thrown on: the one that one thread
// would have met. Items after it may or may not have been worked on.

inline void validate_threads(std::size_t threads) {
    require(threads >= 1 && threads <= 1024, "threads", threads, "must lie in 1 to 1024");
}

#if ECHOSIEVE_THREADS

namespace detail {

// One part's work. No template and no lambda: std::thread makes types of it that compiled libraries
// must hide, and g++ does not hide those of a lambda within a template.
struct PartOfWork {
    void (*call)(const void* run, std::size_t part) noexcept;
    const void* run;
    std::size_t part;
    void operator()() const noexcept { call(run, part); }
};

}  // namespace detail

/// Calls work(first, end) for contiguous parts of 0 .. count - 1, one a thread and as long as each
/// other but for one item. For many short items of the same cost: each part sets up a workspace of
/// its own. Calls nothing if count is 0. Throws InvalidInput unless threads is 1 to 1024, what
/// `work` throws, and std::system_error if a thread can't be started.
template <class Work>
void for_each_part(std::size_t count, std::size_t threads, Work work) {
    validate_threads(threads);
    const std::size_t parts = std::min(threads, count);
    if (parts <= 1) {
        if (count > 0) {
            work(std::size_t{0}, count);
        }
        return;
    }
    std::vector<std::exception_ptr> problems(parts);
    const auto run = [&](std::size_t part) noexcept {
        // The first count % parts of them are one item longer.
        const auto begin = [&](std::size_t p) {
            return p * (count / parts) + std::min(p, count % parts);
        };
        try {
            work(begin(part), begin(part + 1));
        } catch (...) {
            problems[part] = std::current_exception();
        }
    };
    constexpr auto call = [](const void* all, std::size_t part) noexcept {
        (*static_cast<const decltype(run)*>(all))(part);
    };
    {
        std::vector<std::jthread> workers;
        workers.reserve(parts - 1);
        for (std::size_t part = 1; part < parts; ++part) {
            workers.emplace_back(detail::PartOfWork{call, &run, part});
        }
        run(0);
    }
    for (const std::exception_ptr& problem : problems) {
        if (problem) {
            std::rethrow_exception(problem);
        }
    }
}

/// Calls work(k) for k = 0 .. count - 1, each next item on the thread that is free first. For items
/// that take long, or not equally long. After an exception no further item is begun. Throws as
/// for_each_part does.
template <class Work>
void for_each_item(std::size_t count, std::size_t threads, Work work) {
    std::atomic<std::size_t> next = 0;
    std::mutex mutex;  // of the two below
    std::size_t failed = count;
    std::exception_ptr problem;
    for_each_part(std::min(threads, count), threads, [&](std::size_t, std::size_t) {
        for (std::size_t k = next++; k < count; k = next++) {
            try {
                work(k);
            } catch (...) {
                // Items are begun in order: all before the first that fails come to their end.
                const std::lock_guard lock(mutex);
                if (k < failed) {
                    failed = k;
                    problem = std::current_exception();
                }
                next = count;
            }
        }
    });
    if (problem) {
        std::rethrow_exception(problem);
    }
}

#else

template <class Work>
void for_each_part(std::size_t count, std::size_t threads, Work work) {
    validate_threads(threads);
    if (count > 0) {
        work(std::size_t{0}, count);
    }
}

template <class Work>
void for_each_item(std::size_t count, std::size_t threads, Work work) {
    for_each_part(count, threads, [&](std::size_t first, std::size_t end) {
        for (std::size_t k = first; k < end; ++k) {
            work(k);
        }
    });
}

#endif

}  // namespace echosieve
