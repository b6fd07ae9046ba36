// The same work on many items, on several threads.
#pragma once

#include <atomic>
#include <cstddef>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

#include "support/progress.hpp"

namespace examples {

/// Calls work(k) for k = 0 .. count - 1 on so many threads, and shows the progress as `what`. Each
/// call fills its own slot: what comes out doesn't depend on `threads`. The first exception ends
/// the work and is thrown on.
template <class Work>
void for_each_in_parallel(std::size_t count, std::size_t threads, const char* what, Work work) {
    std::atomic<std::size_t> next = 0;
    std::size_t done = 0;
    std::mutex mutex;  // of the progress line, `done` and the first problem
    std::exception_ptr problem;
    Progress progress(what);
    const auto run = [&] {
        for (std::size_t k = next++; k < count; k = next++) {
            try {
                work(k);
            } catch (...) {
                const std::lock_guard lock(mutex);
                problem = problem ? problem : std::current_exception();
                next = count;
                return;
            }
            const std::lock_guard lock(mutex);
            progress.show(++done, count);
        }
    };
    {
        std::vector<std::jthread> workers;
        for (std::size_t t = 0; t < threads; ++t) {
            workers.emplace_back(run);
        }
    }
    progress.finish();
    if (problem) {
        std::rethrow_exception(problem);
    }
}

}  // namespace examples
