// All methods on all problems, from many seeds, and what is made of the records.
#pragma once

#include <cstddef>
#include <functional>
#include <vector>

#include "counted_problem.hpp"
#include "method.hpp"

namespace bench {

struct TournamentOptions {
    std::size_t seeds = 25;
    std::size_t budget = 20000;  ///< evaluations a run
    double seconds = 0.25;       ///< processor time a run
    /// Runs without a success after which a method gives a problem up: no more are made.
    std::size_t hopeless = 10;
    std::size_t threads = 1;
};

struct Tournament {
    TournamentOptions options;
    std::vector<Problem> problems;
    std::vector<Method> methods;
    /// [method][problem][seed]; no seeds where the method does not take the problem.
    std::vector<std::vector<std::vector<RunRecord>>> records;
};

[[nodiscard]] bool any_of_kind(const Tournament& t, ProblemKind kind);
/// "Echo fits" and so on.
[[nodiscard]] const char* title(ProblemKind kind);

/// `progress` is called now and then with the part that is done.
[[nodiscard]] Tournament run_tournament(std::vector<Problem> problems, std::vector<Method> methods,
                                        const TournamentOptions& options,
                                        const std::function<void(double)>& progress);

/// The middle value; of an even number the mean of the two, infinite if either is; NaN of none.
[[nodiscard]] double median(std::vector<double> values);

/// A method on one problem, failures counted as infinitely many evaluations and infinite time.
struct Score {
    std::size_t runs = 0;  ///< 0: the method does not take the problem
    std::size_t successes = 0;
    double evaluations = 0;  ///< median
    double seconds = 0;      ///< median
    /// Evaluations of all runs over the number of successes: what restarts would need on average.
    double expected_evaluations = 0;
};
[[nodiscard]] Score score(const std::vector<RunRecord>& records);

/// A method on all problems of a kind: medians over the problems of the scores' medians.
struct Total {
    std::size_t runs = 0;
    std::size_t successes = 0;
    double evaluations = 0;
    double seconds = 0;
    double expected_evaluations = 0;

    [[nodiscard]] double rate() const noexcept {
        return runs == 0 ? 0 : static_cast<double>(successes) / static_cast<double>(runs);
    }
};
[[nodiscard]] Total total(const Tournament& t, std::size_t method, ProblemKind kind);

/// Methods that take problems of that kind: those of fewer median evaluations (or of less time)
/// first, and of equal ones those of more successes.
enum class Measure { evaluations, seconds };
[[nodiscard]] std::vector<std::size_t> ranking(const Tournament& t, ProblemKind kind,
                                               Measure measure);

[[nodiscard]] inline bool is_ours(const Method& method) {
    return method.library == "echosieve";
}

}  // namespace bench
