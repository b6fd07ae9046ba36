#include "problems.hpp"

#include <cmath>
#include <utility>

#include "echosieve/core/threads.hpp"
#include "optimise/constrained_problems.hpp"
#include "optimise/hock_schittkowski.hpp"
#include "optimise/problems.hpp"

namespace bench {

using namespace echosieve;

std::vector<Problem> echo_fit_problems(std::size_t starts, std::size_t threads,
                                       std::vector<EchoReference>& references) {
    constexpr double margin = 1e-6;
    const std::vector<EchoFitSettings> series = echo_fit_series();
    std::vector<std::shared_ptr<const EchoFit>> fits;
    for (const EchoFitSettings& settings : series) {
        fits.push_back(std::make_shared<const EchoFit>(settings));
    }
    references.assign(series.size(), {});
    for_each_item(series.size(), threads, [&](std::size_t i) {
        // The hardest first, or one thread would be left with it.
        const std::size_t k = series.size() - 1 - i;
        references[k] = find_reference(*fits[k], starts, series[k].seed);
    });
    std::vector<Problem> out;
    for (std::size_t k = 0; k < series.size(); ++k) {
        out.push_back({.name = describe(series[k]),
                       .kind = ProblemKind::echo_fit,
                       .box = fits[k]->box(),
                       .least = references[k].value,
                       .target = references[k].value * (1 + margin),
                       .value = {},
                       .fit = fits[k],
                       .block = EchoFit::block,
                       .constrain = {}});
    }
    return out;
}

namespace {

// Where the minimum lies in the middle of the box, a method that looks there first finds it at
// once: the box is moved, each coordinate by another part of its width.
Box<double> moved_from_middle(const test::Problem& problem) {
    const Box<double>& box = problem.box;
    std::vector<double> lower(box.lower().begin(), box.lower().end());
    std::vector<double> upper(box.upper().begin(), box.upper().end());
    bool in_middle = true;
    for (std::size_t k = 0; k < box.dimension(); ++k) {
        const double by = (0.07 + 0.031 * static_cast<double>(k)) * box.width(k);
        const double middle = box.lower(k) + box.width(k) / 2;
        in_middle = in_middle && std::abs(problem.minimisers.front()[k] - middle) < 1e-9;
        lower[k] += by;
        upper[k] += by;
    }
    return in_middle ? Box<double>(lower, upper) : box;
}

}  // namespace

std::vector<Problem> published_problems() {
    constexpr double margin = 1e-8;
    std::vector<Problem> out;
    for (test::Problem& problem : test::problems()) {
        Box<double> box = moved_from_middle(problem);
        out.push_back({.name = std::move(problem.name),
                       .kind = ProblemKind::published,
                       .box = std::move(box),
                       .least = problem.minimum,
                       .target = problem.minimum + margin,
                       .value = std::move(problem.function),
                       .fit = {},
                       .constrain = {}});
    }
    return out;
}

namespace {

// The target lies 1e-4 above the minimum, as the CEC 2006 report has it.
template <class P>
void add_constrained(std::vector<P> problems, std::vector<Problem>& out) {
    for (P& problem : problems) {
        Problem added{.name = problem.name,
                      .kind = ProblemKind::constrained,
                      .box = problem.box,
                      .least = problem.minimum,
                      .target = problem.minimum + test::constrained_success,
                      .value = problem.function,
                      .fit = {},
                      .inequalities = problem.inequalities(),
                      .equalities = problem.equalities(),
                      .equality_tolerance = problem.equality_tolerance(),
                      .constrain = {}};
        added.constrain = [problem](std::span<const double> x, std::span<double> g,
                                    std::span<double> h) { problem.constrain(x, g, h); };
        out.push_back(std::move(added));
    }
}

}  // namespace

std::vector<Problem> constrained_problems() {
    std::vector<Problem> out;
    add_constrained(test::constrained_problems(), out);
    add_constrained(test::hock_schittkowski(), out);
    // Problem 100 is g09.
    std::erase_if(out, [](const Problem& problem) { return problem.name == "HS100"; });
    return out;
}

}  // namespace bench
