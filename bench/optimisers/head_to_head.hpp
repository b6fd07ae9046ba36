// The library's optimisers against all others.
#pragma once

#include <cstddef>
#include <utility>

#include "tournament.hpp"

namespace bench {

/// The first of a ranking that is ours, or is not; the number of methods if there is none.
[[nodiscard]] std::size_t best(const Tournament& t, ProblemKind kind, Measure measure, bool ours);

/// Of ours, or of all others, the least median on one problem, and whose it is.
[[nodiscard]] std::pair<double, std::size_t> least(const Tournament& t, std::size_t problem,
                                                   Measure measure, bool ours);

struct HeadToHead {
    std::size_t ours;
    std::size_t other;
    double our_total;
    double other_total;
    double ratio;         // of the medians over the problems
    double median_ratio;  // over the problems, of the two methods
    double best_ratio;    // likewise, ours against the best other one of each problem
};

[[nodiscard]] HeadToHead head_to_head(const Tournament& t, ProblemKind kind, Measure measure);

}  // namespace bench
