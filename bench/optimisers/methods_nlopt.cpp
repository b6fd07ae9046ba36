// Methods of NLopt.
#include "method.hpp"

#if defined(BENCH_HAS_NLOPT)
#include <nlopt.h>

#include <algorithm>
#include <memory>
#include <stdexcept>
#include <utility>

namespace bench {
namespace {

using namespace echosieve;

// Of local searches, relative, in value and place: the best of 1e-6 to 1e-12 on the echo fits.
constexpr double tolerance = 1e-12;

using Optimiser = std::unique_ptr<nlopt_opt_s, decltype(&nlopt_destroy)>;

// What NLopt calls; it ends the run by force_stop, as its manual says.
struct Call {
    Run* run;
    nlopt_opt optimiser;

    void stop_if_over() const {
        if (run->over()) {
            nlopt_force_stop(optimiser);
        }
    }
};

double objective(unsigned n, const double* x, double* gradient, void* data) {
    const Call& call = *static_cast<Call*>(data);
    const double value = gradient != nullptr ? call.run->value_and_gradient({x, n}, {gradient, n})
                                             : call.run->value({x, n});
    call.stop_if_over();
    return value;
}

// Constraints of one kind, at x, and their slopes if they are asked for.
template <bool equal>
void constraints(unsigned, double* out, unsigned n, const double* x, double* slopes, void* data) {
    Run& run = *static_cast<Run*>(data);
    const Problem& problem = run.problem();
    const std::size_t before = equal ? problem.inequalities : 0;
    std::vector<double> all(problem.inequalities + problem.equalities);
    run.constrain({x, n}, std::span(all).first(problem.inequalities),
                  std::span(all).subspan(problem.inequalities));
    const std::size_t count = equal ? problem.equalities : problem.inequalities;
    std::copy_n(all.data() + before, count, out);
    if (slopes != nullptr) {
        std::vector<double> table(all.size() * n);
        run.constraint_slopes({x, n}, table);
        std::copy_n(table.data() + before * n, count * n, slopes);
    }
}

void set_constraints(nlopt_opt optimiser, Run& run) {
    const Problem& problem = run.problem();
    if (problem.inequalities > 0) {
        nlopt_add_inequality_mconstraint(optimiser, static_cast<unsigned>(problem.inequalities),
                                         constraints<false>, &run, nullptr);
    }
    if (problem.equalities > 0) {
        const std::vector<double> allowed(problem.equalities, problem.equality_tolerance);
        nlopt_add_equality_mconstraint(optimiser, static_cast<unsigned>(problem.equalities),
                                       constraints<true>, &run, allowed.data());
    }
}

Optimiser make(nlopt_algorithm algorithm, const Run& run) {
    Optimiser out(nlopt_create(algorithm, static_cast<unsigned>(run.dimension())), nlopt_destroy);
    nlopt_set_lower_bounds(out.get(), run.problem().box.lower().data());
    nlopt_set_upper_bounds(out.get(), run.problem().box.upper().data());
    return out;
}

void optimise(nlopt_opt optimiser, Run& run, std::vector<double>& x) {
    Call call{&run, optimiser};
    nlopt_set_min_objective(optimiser, objective, &call);
    if (run.problem().constrained()) {
        set_constraints(optimiser, run);
    } else {
        nlopt_set_stopval(optimiser, run.problem().target);
    }
    double value = 0;
    const nlopt_result end = nlopt_optimize(optimiser, x.data(), &value);
    // Rounding ends some; a failure of another kind, from one start, is the method's own.
    if (end == NLOPT_INVALID_ARGS || end == NLOPT_OUT_OF_MEMORY) {
        throw std::runtime_error(std::string("NLopt: ") + nlopt_result_to_string(end));
    }
}

// A global method, begun anew if it ends by itself.
Method global(const char* name, nlopt_algorithm algorithm, const char* settings,
              bool (*takes)(const Problem&) = without_constraints) {
    return {name, "NLopt", settings,
            [algorithm](Run& run, std::uint64_t seed) {
                RandomStream stream(seed);
                nlopt_srand(static_cast<unsigned long>(seed));
                std::vector<double> x(run.dimension());
                while (!run.over()) {
                    const Optimiser optimiser = make(algorithm, run);
                    run.draw(stream, x);
                    const std::size_t before = run.remaining();
                    optimise(optimiser.get(), run, x);
                    if (run.remaining() == before) {
                        return;
                    }
                }
            },
            takes};
}

void set_local(nlopt_opt optimiser, const Run& run) {
    nlopt_set_ftol_rel(optimiser, tolerance);
    nlopt_set_xtol_rel(optimiser, tolerance);
    nlopt_set_maxeval(optimiser, static_cast<int>(run.remaining()));
}

// Many local searches from points of a low-discrepancy sequence, clustered by single linkage.
Method linkage(const char* name, nlopt_algorithm local, std::string settings) {
    return {name, "NLopt", std::move(settings),
            [local](Run& run, std::uint64_t seed) {
                RandomStream stream(seed);
                nlopt_srand(static_cast<unsigned long>(seed));
                const Optimiser optimiser = make(NLOPT_G_MLSL_LDS, run);
                const Optimiser inner = make(local, run);
                nlopt_set_ftol_rel(inner.get(), tolerance);
                nlopt_set_xtol_rel(inner.get(), tolerance);
                nlopt_set_local_optimizer(optimiser.get(), inner.get());
                std::vector<double> x(run.dimension());
                run.draw(stream, x);
                optimise(optimiser.get(), run, x);
            },
            without_constraints};
}

// A local method from points drawn uniformly. `first_step`: in widths of the box.
Method restarts(const char* name, nlopt_algorithm algorithm, double first_step,
                std::string settings, bool (*takes)(const Problem&) = without_constraints) {
    return {name, "NLopt", std::move(settings),
            [algorithm, first_step](Run& run, std::uint64_t seed) {
                RandomStream stream(seed);
                std::vector<double> x(run.dimension());
                std::vector<double> step(run.dimension());
                for (std::size_t k = 0; k < step.size(); ++k) {
                    step[k] = first_step * run.problem().box.width(k);
                }
                while (!run.over()) {
                    const Optimiser optimiser = make(algorithm, run);
                    set_local(optimiser.get(), run);
                    nlopt_set_initial_step(optimiser.get(), step.data());
                    run.draw(stream, x);
                    optimise(optimiser.get(), run, x);
                }
            },
            takes};
}

// The augmented Lagrangian about a local method, from points drawn uniformly.
Method augmented(const char* name, nlopt_algorithm local, std::string settings) {
    return {name, "NLopt", std::move(settings),
            [local](Run& run, std::uint64_t seed) {
                RandomStream stream(seed);
                std::vector<double> x(run.dimension());
                while (!run.over()) {
                    const Optimiser optimiser = make(NLOPT_AUGLAG, run);
                    const Optimiser inner = make(local, run);
                    nlopt_set_ftol_rel(inner.get(), tolerance);
                    nlopt_set_xtol_rel(inner.get(), tolerance);
                    nlopt_set_local_optimizer(optimiser.get(), inner.get());
                    set_local(optimiser.get(), run);
                    run.draw(stream, x);
                    const std::size_t before = run.remaining();
                    optimise(optimiser.get(), run, x);
                    if (run.remaining() == before) {
                        return;
                    }
                }
            },
            with_constraints};
}

}  // namespace

std::vector<Method> nlopt_methods() {
    const std::string linked =
        "multi-level single linkage on a Sobol sequence, the same for all seeds; ftol_rel and "
        "xtol_rel 1e-12, local ";
    const std::string from = "from random points; ftol_rel and xtol_rel 1e-12, first step ";
    return {
        global("CRS2_LM", NLOPT_GN_CRS2_LM,
               "controlled random search, its population of 10 (n + 1)"),
        global("ISRES", NLOPT_GN_ISRES, "evolution strategy, its population of 20 (n + 1)",
               any_problem),
        global("ESCH", NLOPT_GN_ESCH, "evolutionary algorithm, its defaults"),
        global("DIRECT_L", NLOPT_GN_DIRECT_L, "dividing rectangles; does not depend on the seed"),
        linkage("MLSL, SLSQP", NLOPT_LD_SLSQP, linked + "SLSQP"),
        linkage("MLSL, LBFGS", NLOPT_LD_LBFGS, linked + "LBFGS"),
        linkage("MLSL, BOBYQA", NLOPT_LN_BOBYQA, linked + "BOBYQA"),
        linkage("MLSL, SBPLX", NLOPT_LN_SBPLX, linked + "SBPLX"),
        restarts("SLSQP, restarts", NLOPT_LD_SLSQP, 0.1, from + "its own", any_problem),
        restarts("COBYLA, restarts", NLOPT_LN_COBYLA, 0.25, from + "0.25 of the box",
                 with_constraints),
        augmented("AUGLAG, LBFGS", NLOPT_LD_LBFGS,
                  "augmented Lagrangian, restarts " + from + "its own"),
        augmented("AUGLAG, SBPLX", NLOPT_LN_SBPLX,
                  "augmented Lagrangian, restarts " + from + "its own"),
        restarts("LBFGS, restarts", NLOPT_LD_LBFGS, 0.1, from + "its own"),
        restarts("BOBYQA, restarts", NLOPT_LN_BOBYQA, 0.25, from + "0.25 of the box"),
        restarts("SBPLX, restarts", NLOPT_LN_SBPLX, 0.1, from + "0.1 of the box"),
    };
}

}  // namespace bench
#else
namespace bench {

std::vector<Method> nlopt_methods() {
    return {};
}

}  // namespace bench
#endif
