// Runs the library's optimisers and those of other libraries on the same problems, prints a summary
// and writes <folder>/optimisers.md, optimisers.csv and pictures/optimisers_*.png.
//
//   optimiser_report [seeds = 25] [evaluations a run = 20000] [folder = docs]
#include <algorithm>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <iterator>
#include <thread>
#include <utility>
#include <vector>

#include "method.hpp"
#include "problems.hpp"
#include "program.hpp"
#include "report_pictures.hpp"
#include "report_text.hpp"
#include "tournament.hpp"

namespace {

using namespace bench;

constexpr std::size_t reference_starts = 2000;

template <class T>
void append(std::vector<T>& to, std::vector<T> from) {
    std::ranges::move(from, std::back_inserter(to));
}

void report(int count, char** arguments) {
    TournamentOptions options;
    options.seeds = std::max<std::size_t>(number_argument(count, arguments, 1, options.seeds), 1);
    options.budget = std::max<std::size_t>(number_argument(count, arguments, 2, options.budget), 1);
    options.threads = std::max(std::thread::hardware_concurrency(), 1U);
    const std::filesystem::path folder = count > 3 ? arguments[3] : "docs";

    std::vector<EchoReference> references;
    std::fprintf(stderr, "minima of the echo fits, %zu starts each\n", reference_starts);
    std::vector<Problem> problems =
        echo_fit_problems(reference_starts, options.threads, references);
    append(problems, published_problems());
    append(problems, constrained_problems());
    std::vector<Method> methods;
    for (const auto list : {echosieve_methods, own_methods, nlopt_methods, pagmo_methods,
                            dlib_methods, ceres_methods, gsl_methods}) {
        append(methods, list());
    }
    const Tournament tournament =
        run_tournament(std::move(problems), std::move(methods), options,
                       [](double part) { std::fprintf(stderr, "\rruns: %3.0f %%", 100 * part); });
    std::fprintf(stderr, "\n");
    print_summary(tournament);
    std::filesystem::create_directories(folder);
    write_page(tournament, references, folder / "optimisers.md");
    write_table(tournament, folder / "optimisers.csv");
    draw_pictures(tournament, folder / "pictures");
}

}  // namespace

int main(int count, char** arguments) {
    try {
        report(count, arguments);
    } catch (const std::exception& problem) {
        std::fprintf(stderr, "optimiser_report: %s\n", problem.what());
        return 1;
    }
}
