// Many frames through the fast path, on several threads when asked.
#pragma once

#include <complex>
#include <cstddef>
#include <vector>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/core/threads.hpp"
#include "echosieve/pursuit/fast_pursuit.hpp"

namespace echosieve {

/// Decomposes frames of complex baseband, such as gates_to_baseband() makes of raw ones (row i is
/// frame i), each as `pursuit.run` would. `pursuit` is left as it is: each of the `threads` threads
/// works with a copy. The results have the same bits on any number of threads. Throws as
/// FastPursuit::run does, for the first frame that it refuses, and as for_each_part does.
template <Real R>
[[nodiscard]] std::vector<typename FastPursuit<R>::Result> pursue_frames(
    const FrameView<std::complex<R>>& frames, const FastPursuit<R>& pursuit,
    std::size_t threads = 1) {
    std::vector<typename FastPursuit<R>::Result> results(frames.frames());
    for_each_part(frames.frames(), threads, [&](std::size_t first, std::size_t end) {
        FastPursuit<R> own(pursuit);
        for (std::size_t i = first; i < end; ++i) {
            results[i] = own.run(frames[i]);
        }
    });
    return results;
}

}  // namespace echosieve
