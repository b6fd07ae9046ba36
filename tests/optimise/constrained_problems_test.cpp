// The published problems under constraints are what their report says.
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <map>
#include <numbers>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/optimise/objective.hpp"
#include "optimise/constrained_problems.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

// The constraints' values at x: all g, then all h.
std::vector<double> constraints_at(const ConstrainedProblem& problem,
                                   const std::vector<double>& x) {
    std::vector<double> all(problem.inequalities() + problem.equalities());
    const std::span<double> g = std::span(all).first(problem.inequalities());
    problem.constrain(x, g, std::span(all).subspan(problem.inequalities()));
    return all;
}

double violation_at(const ConstrainedProblem& problem, const std::vector<double>& x) {
    const std::vector<double> all = constraints_at(problem, x);
    const std::span<const double> g = std::span(all).first(problem.inequalities());
    return violation<double>(g, std::span(all).subspan(problem.inequalities()),
                             problem.equality_tolerance());
}

}  // namespace

TEST_CASE("constrained problems have their minima, feasible, with the named constraints active") {
    constexpr double slack = 1e-3;  // the inactive ones are far from their limits
    for (const ConstrainedProblem& problem : constrained_problems()) {
        CAPTURE(problem.name);
        REQUIRE(!problem.minimisers.empty());
        for (const std::vector<double>& x : problem.minimisers) {
            CHECK(problem.box.contains(x));
            CHECK_WITHIN(problem(x), problem.minimum, problem.minimum_tolerance);
            const std::vector<double> c = constraints_at(problem, x);
            std::vector<bool> active(c.size(), false);
            for (const ActiveConstraint& constraint : problem.active) {
                active[constraint.index] = true;
            }
            for (std::size_t i = 0; i < c.size(); ++i) {
                CAPTURE(i);
                const bool equality = i >= problem.inequalities();
                if (active[i]) {
                    const double limit = equality ? problem.equality_tolerance() : 0;
                    CHECK_WITHIN(c[i], limit, problem.constraint_tolerance);
                } else {
                    REQUIRE(!equality);
                    CHECK(c[i] < -slack);
                }
            }
        }
    }
}

TEST_CASE("the minimisers meet the conditions of Karush, Kuhn and Tucker with their multipliers") {
    // Of the multipliers' 6 to 10 digits, and of central differences (about 1e-9 of their size).
    constexpr double relative = 1e-5;
    for (const ConstrainedProblem& problem : constrained_problems()) {
        CAPTURE(problem.name);
        for (const std::vector<double>& minimiser : problem.minimisers) {
            for (std::size_t k = 0; k < minimiser.size(); ++k) {
                CAPTURE(k);
                const double h = 1e-6 * std::max(1.0, std::abs(minimiser[k]));
                std::vector<double> up = minimiser;
                std::vector<double> down = minimiser;
                up[k] += h;
                down[k] -= h;
                double sum = (problem(up) - problem(down)) / (2 * h);
                double size = std::abs(sum);
                const std::vector<double> c_up = constraints_at(problem, up);
                const std::vector<double> c_down = constraints_at(problem, down);
                for (const ActiveConstraint& constraint : problem.active) {
                    CHECK(constraint.multiplier >= 0);
                    const double part = constraint.multiplier *
                                        (c_up[constraint.index] - c_down[constraint.index]) /
                                        (2 * h);
                    sum += part;
                    size += std::abs(part);
                }
                const double tolerance = relative * std::max(size, 1e-3);
                if (minimiser[k] == problem.box.lower(k)) {
                    CHECK(sum > tolerance);
                } else if (minimiser[k] == problem.box.upper(k)) {
                    CHECK(sum < -tolerance);
                } else {
                    CHECK_WITHIN(sum, 0, tolerance);
                }
            }
        }
    }
}

TEST_CASE("no small feasible step goes below a constrained minimum") {
    constexpr std::size_t trials = 40000;
    constexpr std::size_t telling = 100;  // feasible ones among them: the check bites
    RandomStream stream(1);
    for (const ConstrainedProblem& problem : constrained_problems()) {
        CAPTURE(problem.name);
        for (const std::vector<double>& minimiser : problem.minimisers) {
            std::size_t feasible = 0;
            double lowest = std::numeric_limits<double>::infinity();
            std::vector<double> x(minimiser.size());
            for (std::size_t trial = 0; trial < trials; ++trial) {
                // In widths of the box: 1e-1 to 1e-6.
                const double reach = std::pow(10, -1 - static_cast<int>(trial % 6));
                for (std::size_t k = 0; k < x.size(); ++k) {
                    const double step = reach * problem.box.width(k);
                    x[k] = std::clamp(minimiser[k] + stream.uniform(-step, step),
                                      problem.box.lower(k), problem.box.upper(k));
                }
                if (violation_at(problem, x) == 0) {
                    ++feasible;
                    lowest = std::min(lowest, problem(x));
                }
            }
            CAPTURE(feasible);
            CHECK(feasible >= telling);
            CHECK(lowest >= problem.minimum - problem.minimum_tolerance);
        }
    }
}

TEST_CASE("as large a part of each box is feasible as is published") {
    // Percent, from a million random points (the report's table of problems); g12 in closed form:
    // 729 spheres of radius 1/4 in a volume of 1000. The report's 0.0111, 52.1230 and 79.6556 for
    // g01, g04 and g24 do not follow from its own definitions, which give 0.0002, 27.0 and 44.4.
    // For g04, Koziel and Michalewicz 1999, Evol. Comput. 7:19-44, have 27.0079 (from memory).
    const std::map<std::string_view, double> published = {
        {"g04", 27.0079},
        {"g06", 0.0066},
        {"g08", 0.8560},
        {"g09", 0.5121},
        {"g12", 72.9 * 4 / 3 * std::numbers::pi / 64},
    };
    constexpr std::size_t points = 300000;
    constexpr double of_report = 1e6;
    constexpr double deviations = 4;
    RandomStream stream(2);
    for (const ConstrainedProblem& problem : constrained_problems()) {
        CAPTURE(problem.name);
        if (published.count(problem.name) == 0) {
            continue;
        }
        std::size_t feasible = 0;
        std::vector<double> x(problem.box.dimension());
        for (std::size_t i = 0; i < points; ++i) {
            for (std::size_t k = 0; k < x.size(); ++k) {
                x[k] = stream.uniform(problem.box.lower(k), problem.box.upper(k));
            }
            feasible += violation_at(problem, x) == 0 ? 1 : 0;
        }
        const double p = published.at(problem.name) / 100;
        const double n = static_cast<double>(points);
        const double error = std::sqrt(p * (1 - p) * (1 / n + 1 / of_report));
        CHECK_WITHIN(static_cast<double>(feasible) / n, p, deviations * error);
    }
}

TEST_CASE("the nearest of the 729 spheres is found coordinate by coordinate") {
    const std::vector<ConstrainedProblem> all = constrained_problems();
    const auto g12 = std::ranges::find(all, std::string("g12"), &ConstrainedProblem::name);
    REQUIRE(g12 != all.end());
    RandomStream stream(3);
    for (int trial = 0; trial < 300; ++trial) {
        std::vector<double> x(3);
        for (double& v : x) {
            v = stream.uniform(0.0, 10.0);
        }
        double least = std::numeric_limits<double>::infinity();
        for (int p = 1; p <= 9; ++p) {
            for (int q = 1; q <= 9; ++q) {
                for (int r = 1; r <= 9; ++r) {
                    least = std::min(least, std::pow(x[0] - p, 2) + std::pow(x[1] - q, 2) +
                                                std::pow(x[2] - r, 2) - 0.0625);
                }
            }
        }
        constexpr double rounding = 1e-14;
        CHECK_WITHIN(constraints_at(*g12, x)[0], least, rounding);
    }
}

TEST_CASE("printed variants that differ are told apart") {
    const std::vector<ConstrainedProblem> all = constrained_problems();
    const auto of = [&](const std::string& name) -> const ConstrainedProblem& {
        return *std::ranges::find(all, name, &ConstrainedProblem::name);
    };
    // g11's 0.75 is the minimum of h = 0 exactly; the report counts with the tolerance.
    const std::vector<double> exact = {std::sqrt(0.5), 0.5};
    constexpr double rounding = 1e-15;
    CHECK_WITHIN(of("g11")(exact), 0.75, rounding);
    CHECK(violation_at(of("g11"), exact) == 0);
    // The report's own point uses nearly all of the tolerance.
    const std::vector<double> report = {-0.70703607, 0.5000000043};
    constexpr double printed = 1e-8;
    CHECK_WITHIN(violation_at(of("g11"), report), 0, printed);
    CHECK_WITHIN(of("g11")(report), of("g11").minimum, printed);
    // g08 has no value where x1 = 0: the optimisers meet a NaN there.
    CHECK(std::isnan(of("g08")(std::vector<double>{0, 1})));
}
