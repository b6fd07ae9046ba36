// A method that is compared, and how one of the library's is entered.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <limits>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "counted_problem.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/result.hpp"

namespace bench {

/// run(run, seed) minimises what `run` gives until run.over(). To enter another one, write a
/// function object like those of methods_*.cpp, some ten lines each.
struct Method {
    std::string name;
    std::string library;   ///< "echosieve" or whose it is
    std::string settings;  ///< for the reader of the report
    std::function<void(Run&, std::uint64_t seed)> run;
    /// Whether it can take that problem.
    bool (*takes)(const Problem&) = nullptr;
};

[[nodiscard]] inline bool without_constraints(const Problem& problem) {
    return !problem.constrained();
}
[[nodiscard]] inline bool with_constraints(const Problem& problem) {
    return problem.constrained();
}
[[nodiscard]] inline bool any_problem(const Problem&) {
    return true;
}
[[nodiscard]] inline bool sums_of_squares(const Problem& problem) {
    return problem.fit != nullptr;
}

/// Where a run of an optimiser starts, each time it is begun anew.
enum class Start { own, random_point };

namespace detail {

// How the library's optimisers see a run: with what the problem has.
struct PlainObjective {
    Run* run;

    double operator()(std::span<const double> x) { return run->value(x); }
};
struct FitObjective : PlainObjective {
    static constexpr std::size_t block = 3;

    void evaluate(const echosieve::Points<double>& points, std::span<double> values) {
        run->values(points, values);
    }
    double value_and_gradient(std::span<const double> x, std::span<double> gradient) {
        return run->value_and_gradient(x, gradient);
    }
    double normal_equations(std::span<const double> x, std::span<double> gram,
                            std::span<double> gradient) {
        return run->normal_equations(x, gram, gradient);
    }
};
struct ConstrainedRunObjective : PlainObjective {
    [[nodiscard]] std::size_t inequalities() const { return run->problem().inequalities; }
    [[nodiscard]] std::size_t equalities() const { return run->problem().equalities; }
    [[nodiscard]] double equality_tolerance() const { return run->problem().equality_tolerance; }
    void constrain(std::span<const double> x, std::span<double> g, std::span<double> h) {
        run->constrain(x, g, h);
    }
};

// Ends what has no limits of its own.
struct EndWhenOver {
    Run* run;

    echosieve::Control operator()(const echosieve::Progress<double>&) const {
        return run->over() ? echosieve::Control::stop : echosieve::Control::go_on;
    }
};

template <class O, class F>
void run_again_and_again(O optimiser, F objective, Run& run, std::uint64_t seed, Start start) {
    constexpr bool limited = echosieve::LimitedOptimiser<O>;
    echosieve::Workspace workspace;
    EndWhenOver end{&run};
    std::vector<double> point(start == Start::random_point ? run.dimension() : 0);
    for (std::uint64_t turn = 0; !run.over(); ++turn) {
        echosieve::RandomStream stream(seed, turn);
        run.draw(stream, point);
        const std::uint64_t number = (seed << 20U) + turn;
        const std::size_t before = run.remaining();
        if constexpr (limited) {
            optimiser.target = run.problem().target;
            optimiser.max_evaluations = run.remaining();
        }
        try {
            const echosieve::OptimiseTask task{objective, run.problem().box, number, point,
                                               end,       workspace};
            static_cast<void>(echosieve::minimise(task, optimiser));
        } catch (const echosieve::InvalidInput&) {
            if (turn == 0) {
                throw;
            }
            return;  // what remains of the budget is too little for its start
        }
        if (run.remaining() == before) {
            return;  // too little for more than its start, asked for again
        }
    }
}

}  // namespace detail

/// Which problems an optimiser is made for.
enum class Takes { fits, unconstrained, constrained, all };

/// Enters an optimiser: one of the library, or any type that meets its concept. Its limits apart
/// from the target and the evaluations stay what they are: when it ends before the run is over, it
/// is begun again with another seed, from where `start` says.
template <Takes takes = Takes::unconstrained, class O>
[[nodiscard]] Method enter(std::string name, std::string settings, const O& optimiser,
                           Start start = Start::own) {
    const auto run_it = [optimiser, start](Run& run, std::uint64_t seed) {
        constexpr bool plain = takes == Takes::unconstrained || takes == Takes::all;
        constexpr bool constrained = takes == Takes::constrained || takes == Takes::all;
        if (run.problem().constrained()) {
            if constexpr (constrained) {
                detail::run_again_and_again(optimiser, detail::ConstrainedRunObjective{{&run}}, run,
                                            seed, start);
            }
        } else if (run.problem().fit) {
            if constexpr (takes != Takes::constrained) {
                detail::run_again_and_again(optimiser, detail::FitObjective{{&run}}, run, seed,
                                            start);
            }
        } else if constexpr (plain) {
            detail::run_again_and_again(optimiser, detail::PlainObjective{&run}, run, seed, start);
        }
    };
    return {std::move(name), "echosieve", std::move(settings), run_it,
            takes == Takes::fits          ? sums_of_squares
            : takes == Takes::constrained ? with_constraints
            : takes == Takes::all         ? any_problem
                                          : without_constraints};
}

/// One list a library, empty where it was not found.
[[nodiscard]] std::vector<Method> echosieve_methods();
[[nodiscard]] std::vector<Method> own_methods();
[[nodiscard]] std::vector<Method> nlopt_methods();
[[nodiscard]] std::vector<Method> pagmo_methods();
[[nodiscard]] std::vector<Method> dlib_methods();
[[nodiscard]] std::vector<Method> ceres_methods();
[[nodiscard]] std::vector<Method> gsl_methods();

}  // namespace bench
