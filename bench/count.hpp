// What a bench counts beside its time.
#pragma once

#include <benchmark/benchmark.h>

namespace bench {

/// A rate: `times` of `what` a turn.
inline void count(benchmark::State& state, const char* what, double times) {
    state.counters[what] = benchmark::Counter(static_cast<double>(state.iterations()) * times,
                                              benchmark::Counter::kIsRate);
}

}  // namespace bench
