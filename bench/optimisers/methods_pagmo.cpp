// Methods of pagmo.
#include "method.hpp"

#if defined(BENCH_HAS_PAGMO)
#include <algorithm>
#include <cmath>
#include <pagmo/algorithm.hpp>
#include <pagmo/algorithms/bee_colony.hpp>
#include <pagmo/algorithms/cmaes.hpp>
#include <pagmo/algorithms/cstrs_self_adaptive.hpp>
#include <pagmo/algorithms/de.hpp>
#include <pagmo/algorithms/de1220.hpp>
#include <pagmo/algorithms/gaco.hpp>
#include <pagmo/algorithms/pso.hpp>
#include <pagmo/algorithms/sade.hpp>
#include <pagmo/population.hpp>
#include <pagmo/problem.hpp>
#include <pagmo/types.hpp>

namespace bench {
namespace {

// What pagmo copies about; it ends a run by an exception.
struct Fitness {
    Run* run = nullptr;

    [[nodiscard]] pagmo::vector_double fitness(const pagmo::vector_double& x) const {
        const double value = run->value(x);
        run->throw_if_over();
        // The value, then h, then g.
        const Problem& problem = run->problem();
        pagmo::vector_double out(1 + problem.equalities + problem.inequalities);
        out[0] = value;
        if (problem.constrained()) {
            const std::span<double> all = std::span(out).subspan(1);
            run->constrain(x, all.subspan(problem.equalities), all.first(problem.equalities));
        }
        return out;
    }
    [[nodiscard]] pagmo::vector_double::size_type get_nec() const {
        return run->problem().equalities;
    }
    [[nodiscard]] pagmo::vector_double::size_type get_nic() const {
        return run->problem().inequalities;
    }
    [[nodiscard]] std::pair<pagmo::vector_double, pagmo::vector_double> get_bounds() const {
        const auto& box = run->problem().box;
        return {{box.lower().begin(), box.lower().end()}, {box.upper().begin(), box.upper().end()}};
    }
};

// make(generations, seed, dimension) gives the algorithm; it is begun anew, with a new population,
// when it has converged. size(dimension) gives the population.
template <class Size, class Make>
Method evolving(const char* name, std::string settings, Size size, Make make,
                bool (*takes)(const Problem&) = without_constraints) {
    return {name, "pagmo", std::move(settings),
            [size, make](Run& run, std::uint64_t seed) {
                const std::size_t individuals = size(run.dimension());
                try {
                    for (std::uint64_t turn = 0; !run.over(); ++turn) {
                        const auto number = static_cast<unsigned>(1000 * seed + turn);
                        pagmo::problem problem(Fitness{&run});
                        if (run.problem().equalities > 0) {
                            problem.set_c_tol(run.problem().equality_tolerance);
                        }
                        pagmo::population population(problem, individuals, number);
                        const auto generations =
                            static_cast<unsigned>(run.remaining() / individuals + 1);
                        const pagmo::algorithm algorithm(make(generations, number));
                        population = algorithm.evolve(population);
                    }
                } catch (const Run::Over&) {
                }
            },
            takes};
}

std::size_t fifty(std::size_t) {
    return 50;
}
// Twice Hansen's default for CMA-ES.
std::size_t few(std::size_t dimension) {
    return 8 + static_cast<std::size_t>(6 * std::log(static_cast<double>(dimension)));
}
std::size_t twenty(std::size_t) {
    return 20;
}

std::size_t hundred(std::size_t) {
    return 100;
}

constexpr double converged = 1e-9;  // ftol and xtol, in the units of the problem

}  // namespace

std::vector<Method> pagmo_methods() {
    const std::string again = ", begun anew when ftol or xtol of 1e-9 is met";
    return {
        evolving("pso", "population 50, constricted, as many generations as the budget allows",
                 fifty,
                 [](unsigned generations, unsigned seed) {
                     return pagmo::pso(generations, 0.7298, 2.05, 2.05, 0.5, 5, 2, 4, false, seed);
                 }),
        evolving("de", "population 50, F 0.8, CR 0.9, rand/1/exp" + again, fifty,
                 [](unsigned generations, unsigned seed) {
                     return pagmo::de(generations, 0.8, 0.9, 2, converged, converged, seed);
                 }),
        evolving("sade", "population 50, jDE, rand/1/exp" + again, fifty,
                 [](unsigned generations, unsigned seed) {
                     return pagmo::sade(generations, 2, 1, converged, converged, false, seed);
                 }),
        evolving("de1220", "population 50, jDE with self-adapted variants" + again, fifty,
                 [](unsigned generations, unsigned seed) {
                     return pagmo::de1220(generations,
                                          pagmo::de1220_statics<void>::allowed_variants, 1,
                                          converged, converged, false, seed);
                 }),
        evolving("cmaes", "population 8 + 6 ln n, sigma0 0.5, bounds enforced" + again, few,
                 [](unsigned generations, unsigned seed) {
                     return pagmo::cmaes(generations, -1, -1, -1, -1, 0.5, converged, converged,
                                         false, true, seed);
                 }),
        evolving("bee_colony", "population 20, limit 20", twenty,
                 [](unsigned generations, unsigned seed) {
                     return pagmo::bee_colony(generations, 20, seed);
                 }),
        evolving(
            "gaco", "population 100, ant colony for constraints, 63 kernels", hundred,
            [](unsigned generations, unsigned seed) {
                return pagmo::gaco(generations, 63, 1.0, 1e9, 0.01, 1, 7, 100000, 100000, 0.0,
                                   false, seed);
            },
            with_constraints),
        evolving(
            "cstrs_self_adaptive, sade",
            "population 50, adaptive penalty about ten generations of sade at a time", fifty,
            [](unsigned generations, unsigned seed) {
                return pagmo::cstrs_self_adaptive(
                    generations / 10 + 1,
                    pagmo::algorithm(pagmo::sade(10, 2, 1, converged, converged, false, seed)),
                    seed);
            },
            with_constraints),
    };
}

}  // namespace bench
#else
namespace bench {

std::vector<Method> pagmo_methods() {
    return {};
}

}  // namespace bench
#endif
