#include "problems.hpp"

#include "echosieve/core/threads.hpp"
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

std::vector<Problem> published_problems() {
    constexpr double margin = 1e-8;
    std::vector<Problem> out;
    for (test::Problem& problem : test::problems()) {
        out.push_back({.name = std::move(problem.name),
                       .kind = ProblemKind::published,
                       .box = std::move(problem.box),
                       .least = problem.minimum,
                       .target = problem.minimum + margin,
                       .value = std::move(problem.function),
                       .fit = {},
                       .constrain = {}});
    }
    return out;
}

}  // namespace bench
