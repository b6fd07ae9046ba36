// Methods of dlib.
#include "method.hpp"

#if defined(BENCH_HAS_DLIB)
#include <dlib/global_optimization.h>
#include <dlib/optimization.h>

#include <limits>

namespace bench {
namespace {

using namespace echosieve;

using Column = dlib::matrix<double, 0, 1>;

Column column(std::span<const double> x) {
    Column out(static_cast<long>(x.size()));
    std::ranges::copy(x, out.begin());
    return out;
}
std::span<const double> span(const Column& x) {
    return {x.begin(), static_cast<std::size_t>(x.size())};
}

// The search behind find_min_global, which has no seed to be set, and spends less on where to look
// next the faster the objective is: so its course would depend on the machine's load.
void global(Run& run, std::uint64_t seed) {
    const auto& box = run.problem().box;
    dlib::global_function_search search(
        dlib::function_spec(column(box.lower()), column(box.upper())));
    search.set_seed(static_cast<time_t>(seed));
    search.set_solver_epsilon(0);
    while (!run.over()) {
        dlib::function_evaluation_request next = search.get_next_x();
        const Column x = next.x();
        next.set(-run.value(span(x)));
    }
}

void local(Run& run, std::uint64_t seed) {
    const auto& box = run.problem().box;
    const Column lower = column(box.lower());
    const Column upper = column(box.upper());
    std::vector<double> start(run.dimension());
    std::vector<double> gradient(run.dimension());
    RandomStream stream(seed);
    // dlib asks for the value and then for the gradient of the same point: both are found at once.
    const auto value = [&](const Column& x) {
        const double out = run.value_and_gradient(span(x), gradient);
        run.throw_if_over();
        return out;
    };
    const auto derivative = [&](const Column&) { return column(gradient); };
    const double margin = run.problem().target - run.problem().least;
    try {
        while (true) {
            run.draw(stream, start);
            Column x = column(start);
            dlib::find_min_box_constrained(dlib::lbfgs_search_strategy(10),
                                           dlib::objective_delta_stop_strategy(0.01 * margin),
                                           value, derivative, x, lower, upper);
        }
    } catch (const Run::Over&) {
    }
}

}  // namespace

std::vector<Method> dlib_methods() {
    return {{"find_min_global", "dlib",
             "the search behind it (global_function_search), solver epsilon 0; made for objectives "
             "that take seconds: its own work uses up the time limit",
             global, without_constraints},
            {"LBFGS, restarts", "dlib",
             "find_min_box_constrained from random points, memory 10, ends when a step gains less "
             "than a hundredth of the target's margin",
             local, without_constraints}};
}

}  // namespace bench
#else
namespace bench {

std::vector<Method> dlib_methods() {
    return {};
}

}  // namespace bench
#endif
