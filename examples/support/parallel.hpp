// The same work on many items, on several threads, with its progress shown.
#pragma once

#include <cstddef>
#include <mutex>

#include "echosieve/core/threads.hpp"
#include "support/progress.hpp"

namespace examples {

/// For --threads: more are a slip.
inline constexpr std::size_t most_threads = 256;

/// echosieve::for_each_item, and shows the progress as `what`.
template <class Work>
void for_each_in_parallel(std::size_t count, std::size_t threads, const char* what, Work work) {
    std::size_t done = 0;
    std::mutex mutex;  // of the progress line and `done`
    Progress progress(what);
    echosieve::for_each_item(count, threads, [&](std::size_t k) {
        work(k);
        const std::lock_guard lock(mutex);
        progress.show(++done, count);
    });
    progress.finish();
}

}  // namespace examples
