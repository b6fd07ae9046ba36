// How often an optimiser solves a problem, counted as published comparisons count it.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string_view>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "optimise/constrained_problems.hpp"
#include "support/check.hpp"

namespace echosieve::test {

/// The least count to be expected of `runs`, where `measured` of `of` were measured. A last bit of
/// the system's sine or exponential changes a course, so another machine draws its count anew: two
/// standard deviations of a binomial count for rates below 1, one run for rates of 1.
inline int least_successes(int measured, int of, int runs) {
    const double p = static_cast<double>(measured) / of;
    return measured == of
               ? runs - 1
               : static_cast<int>(std::floor(runs * p - 2 * std::sqrt(runs * p * (1 - p))));
}

/// Runs of a constrained problem that succeeded within 5,000, 50,000 and 500,000 evaluations, where
/// the report of 2006 records, and the median evaluations of those that succeeded (0: none).
struct Successes {
    std::string_view problem;
    std::array<int, 3> within;
    std::size_t median;
};

inline constexpr int constrained_runs = 25;  // of the report
inline constexpr std::array<std::size_t, 3> recording_points = {5000, 50000, 500000};

/// Where runs of a method set out that does not draw its start itself.
enum class Start { of_the_method, random };

/// Seeds 0, 1, ... of an optimiser whose limits are set; checks what each result says of itself.
template <class O>
Successes count_successes(O optimiser, const ConstrainedProblem& problem, int runs, Start from) {
    optimiser.target = problem.minimum + constrained_success;
    Successes counted{problem.name, {}, 0};
    std::vector<std::size_t> evaluations;
    std::vector<double> g(problem.inequalities());
    std::vector<double> h(problem.equalities());
    for (std::uint64_t seed = 0; seed < static_cast<std::uint64_t>(runs); ++seed) {
        std::vector<double> start(from == Start::random ? problem.box.dimension() : 0);
        RandomStream stream(seed, 1);
        for (std::size_t k = 0; k < start.size(); ++k) {
            start[k] = stream.uniform(problem.box.lower(k), problem.box.upper(k));
        }
        const auto result = minimise(problem, problem.box, optimiser, seed, start);
        CHECK(result.evaluations <= optimiser.max_evaluations);
        CHECK(problem.box.contains(result.x));
        problem.constrain(result.x, g, h);
        CHECK(violation<double>(g, h, problem.equality_tolerance()) == result.violation);
        const bool success = result.feasible() && result.value <= optimiser.target;
        CHECK(success == (result.status == OptimiseStatus::target_reached));
        if (!success) {
            continue;
        }
        CHECK(problem(result.x) == result.value);
        // Nobody who is feasible gets below the minimum by more than its last digit.
        CHECK(result.value >= problem.minimum - problem.minimum_tolerance);
        evaluations.push_back(result.evaluations);
        for (std::size_t i = 0; i < recording_points.size(); ++i) {
            counted.within[i] += result.evaluations <= recording_points[i] ? 1 : 0;
        }
    }
    if (!evaluations.empty()) {
        const auto middle =
            evaluations.begin() + static_cast<std::ptrdiff_t>(evaluations.size() / 2);
        std::nth_element(evaluations.begin(), middle, evaluations.end());
        counted.median = *middle;
    }
    return counted;
}

/// Checks that an optimiser succeeds as often as measured, and no slower: the median may grow by
/// half where at least half of the runs succeed (a median of fewer says little).
template <class O>
void check_successes(std::string_view method, const O& optimiser, const ConstrainedProblem& problem,
                     const Successes& measured, Start from = Start::of_the_method) {
    constexpr int runs = constrained_runs;
    REQUIRE(problem.name == measured.problem);
    const Successes now = count_successes(optimiser, problem, runs, from);
    MESSAGE(problem.name, ", ", method, ": of ", runs, " runs ", now.within[0], ", ", now.within[1],
            ", ", now.within[2], " succeed within 5e3, 5e4, 5e5 evaluations, median ", now.median);
    for (std::size_t i = 0; i < recording_points.size(); ++i) {
        CAPTURE(recording_points[i]);
        CHECK(now.within[i] >= least_successes(measured.within[i], runs, runs));
    }
    if (2 * measured.within[2] >= runs) {
        CHECK(now.median <= measured.median + measured.median / 2);
    }
}

}  // namespace echosieve::test
