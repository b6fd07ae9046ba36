// General-purpose optimisers beside the swarm in lanes: one echo on the conditioned gate, the same
// objective, and as many evaluations. Those of NLopt and of pagmo come in where the libraries were
// found.
//
//   compare_optimisers [frames = 20] [first seed = 1]
//
// The others call a scalar function of three numbers; its sums are vectorised over samples
// (lane_atom.hpp, double). Their time is split into evaluations and the rest.
#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "echosieve/kernels/echo_swarm.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "frames.hpp"
#include "processor_time.hpp"
#include "program.hpp"
#include "single_echo_gate.hpp"
#include "textbook_pursuit.hpp"

#if defined(BENCH_HAS_NLOPT)
#include <nlopt.h>
#endif
#if defined(BENCH_HAS_PAGMO)
#include <pagmo/algorithm.hpp>
#include <pagmo/algorithms/pso.hpp>
#include <pagmo/algorithms/sade.hpp>
#include <pagmo/population.hpp>
#include <pagmo/problem.hpp>
#include <pagmo/types.hpp>
#endif

namespace {

using namespace echosieve;
using namespace bench;

constexpr std::size_t budget = 5000;
constexpr std::size_t particles = 50;

// Coordinates of the unit cube: arrival, rotation, root of the decay.
using Unit = std::array<double, 3>;

class EnergyFunction {
public:
    explicit EnergyFunction(SingleEchoGate& problem)
        : problem_(&problem), bounds_(problem.swarm_bounds()) {}

    // Energy not explained, less the whole: to be minimised.
    [[nodiscard]] double operator()(const double* unit) {
        ++evaluations;
        const auto at = [](const EchoSwarmBounds::Range& r, double x) {
            return r.lower + std::clamp(x, 0.0, 1.0) * (r.upper - r.lower);
        };
        const double root = at(bounds_.root_decay, unit[2]);
        return -problem_->explained(
            {at(bounds_.arrival, unit[0]), at(bounds_.rotation, unit[1]), root * root});
    }

    std::size_t evaluations = 0;

private:
    SingleEchoGate* problem_;
    EchoSwarmBounds bounds_;
};

// Returns the explained energy that it found.
using Method = std::function<double(SingleEchoGate&, EnergyFunction&, std::uint64_t seed)>;

struct Entry {
    std::string name;
    Method run;
    std::vector<double> seconds;
    std::vector<double> explained;
    std::size_t evaluations = 0;
};

#if defined(BENCH_HAS_NLOPT)
double nlopt_objective(unsigned, const double* x, double*, void* data) {
    return (*static_cast<EnergyFunction*>(data))(x);
}

// The least value that the algorithm finds in the unit cube from x on; `set` sets its options.
template <class Set>
double nlopt_least(nlopt_algorithm algorithm, EnergyFunction& objective, std::size_t evaluations,
                   Unit x, Set set) {
    nlopt_opt optimiser = nlopt_create(algorithm, 3);
    nlopt_set_lower_bounds1(optimiser, 0);
    nlopt_set_upper_bounds1(optimiser, 1);
    nlopt_set_min_objective(optimiser, nlopt_objective, &objective);
    nlopt_set_maxeval(optimiser, static_cast<int>(evaluations));
    set(optimiser);
    double least = 0;
    const nlopt_result end = nlopt_optimize(optimiser, x.data(), &least);
    nlopt_destroy(optimiser);
    if (end < 0 && end != NLOPT_ROUNDOFF_LIMITED) {  // what rounding ends is as good as it gets
        std::fprintf(stderr, "%s failed: %d\n", nlopt_algorithm_name(algorithm), end);
        std::exit(1);
    }
    return least;
}

Method nlopt_method(nlopt_algorithm algorithm) {
    return [algorithm](SingleEchoGate&, EnergyFunction& objective, std::uint64_t seed) {
        nlopt_srand(static_cast<unsigned long>(seed));
        return -nlopt_least(algorithm, objective, budget, {0.5, 0.5, 0.5}, [](nlopt_opt optimiser) {
            nlopt_set_population(optimiser, particles);
        });
    };
}

// A local method from the best of as many random points as the swarm has particles, again and again
// until the evaluations are used up.
Method nlopt_restarts(nlopt_algorithm algorithm) {
    return [algorithm](SingleEchoGate&, EnergyFunction& objective, std::uint64_t seed) {
        RandomStream stream(seed);
        double most = 0;
        while (objective.evaluations + particles < budget) {
            Unit x{};
            double least = 0;
            for (std::size_t k = 0; k < particles; ++k) {
                const Unit trial{stream.uniform(), stream.uniform(), stream.uniform()};
                const double value = objective(trial.data());
                if (value < least) {
                    least = value;
                    x = trial;
                }
            }
            most = std::max(most, -least);
            least = nlopt_least(algorithm, objective, budget - objective.evaluations, x,
                                [](nlopt_opt optimiser) {
                                    nlopt_set_initial_step1(optimiser, 0.05);
                                    nlopt_set_ftol_rel(optimiser, 1e-9);
                                });
            most = std::max(most, -least);
        }
        return most;
    };
}
#endif

#if defined(BENCH_HAS_PAGMO)
struct PagmoProblem {
    EnergyFunction* objective = nullptr;

    [[nodiscard]] pagmo::vector_double fitness(const pagmo::vector_double& x) const {
        return {(*objective)(x.data())};
    }
    [[nodiscard]] std::pair<pagmo::vector_double, pagmo::vector_double> get_bounds() const {
        return {{0, 0, 0}, {1, 1, 1}};
    }
};

template <class Make>
Method pagmo_method(Make make) {
    return [make](SingleEchoGate&, EnergyFunction& objective, std::uint64_t seed) {
        const auto number = static_cast<unsigned>(seed);
        pagmo::population population(pagmo::problem(PagmoProblem{&objective}), particles, number);
        // The population's own evaluations are the first iteration.
        pagmo::algorithm algorithm(make(static_cast<unsigned>(budget / particles - 1), number));
        population = algorithm.evolve(population);
        return -population.champion_f()[0];
    };
}
#endif

std::vector<Entry> methods() {
    std::vector<Entry> out;
    const auto add_method = [&](const char* name, Method run) {
        out.push_back({name, std::move(run), {}, {}, 0});
    };
    add_method("swarm in lanes",
               [](SingleEchoGate& problem, EnergyFunction& objective, std::uint64_t seed) {
                   static EchoSwarm swarm(problem.weights(), problem.swarm_bounds());
                   swarm.seed(seed);
                   const EchoSwarmPoint p = swarm.search(problem.real(), problem.imag());
                   objective.evaluations += budget;
                   return problem.explained({p.arrival, p.rotation, p.root_decay * p.root_decay});
               });
    add_method("echosieve::Swarm, scalar function",
               [](SingleEchoGate&, EnergyFunction& objective, std::uint64_t seed) {
                   const Swarm swarm{.particles = particles, .iterations = budget / particles - 1};
                   const Box<double> cube(std::vector<double>(3, 0), std::vector<double>(3, 1));
                   auto value = [&](std::span<const double> x) { return objective(x.data()); };
                   NoObserver nobody;
                   return -swarm.minimise(value, cube, seed, {}, nobody).value;
               });
#if defined(BENCH_HAS_NLOPT)
    add_method("NLopt GN_CRS2_LM", nlopt_method(NLOPT_GN_CRS2_LM));
    add_method("NLopt GN_ISRES", nlopt_method(NLOPT_GN_ISRES));
    add_method("NLopt GN_ESCH", nlopt_method(NLOPT_GN_ESCH));
    add_method("NLopt GN_DIRECT_L", nlopt_method(NLOPT_GN_DIRECT_L));
    add_method("NLopt LN_BOBYQA, restarts", nlopt_restarts(NLOPT_LN_BOBYQA));
    add_method("NLopt LN_SBPLX, restarts", nlopt_restarts(NLOPT_LN_SBPLX));
#endif
#if defined(BENCH_HAS_PAGMO)
    add_method("pagmo pso", pagmo_method([](unsigned generations, unsigned seed) {
                   return pagmo::pso(generations, 0.7298, 2.05, 2.05, 0.5, 5, 1, 4, false, seed);
               }));
    add_method("pagmo sade", pagmo_method([](unsigned generations, unsigned seed) {
                   return pagmo::sade(generations, 2, 1, 1e-12, 1e-12, false, seed);
               }));
#endif
    return out;
}

}  // namespace

int main(int count, char** arguments) {
    const std::size_t frames = std::max<std::size_t>(number_argument(count, arguments, 1, 20), 1);
    const std::uint64_t first = number_argument(count, arguments, 2, 1);
    SingleEchoGate problem;
    std::vector<Entry> entries = methods();
    for (std::size_t k = 0; k < frames; ++k) {
        std::vector<double> raw = crowded_frame(first + k);
        for (std::size_t e = 0; e < echoes_a_frame; ++e) {
            problem.condition(raw);
            for (Entry& entry : entries) {
                EnergyFunction objective(problem);
                const double start = processor_seconds();
                entry.explained.push_back(
                    entry.run(problem, objective, 1000 * (first + k) + e + 1));
                entry.seconds.push_back(processor_seconds() - start);
                entry.evaluations += objective.evaluations;
            }
            // The next echo is looked for on what the textbook's leaves.
            const textbook::Samples samples{raw.data(), raw.size(), gate.start_time,
                                            gate.sampling_rate};
            const Place place =
                textbook::search(samples, textbook_bounds(), {}, 1000 * (first + k) + e);
            textbook::subtract(samples, place, raw.data());
        }
    }
    const std::size_t echoes = frames * echoes_a_frame;
    std::vector<double> most(echoes, 0);
    for (const Entry& entry : entries) {
        for (std::size_t i = 0; i < echoes; ++i) {
            most[i] = std::max(most[i], entry.explained[i]);
        }
    }
    std::printf("%zu echoes; energy lost: part of the most that any method explains\n", echoes);
    std::printf("%-34s %12s %8s %10s %10s %10s %8s %8s\n", "method", "evaluations", "us", "ns/eval",
                "median", "worst", ">1e-4", ">1e-2");
    for (const Entry& entry : entries) {
        std::vector<double> lost;
        for (std::size_t i = 0; i < echoes; ++i) {
            lost.push_back(1 - entry.explained[i] / most[i]);
        }
        const double evaluations =
            static_cast<double>(entry.evaluations) / static_cast<double>(echoes);
        const double seconds = median(entry.seconds);
        const auto above = [&](double limit) {
            return std::ranges::count_if(lost, [&](double x) { return x > limit; });
        };
        std::printf("%-34s %12.0f %8.1f %10.2f %10.1e %10.1e %8td %8td\n", entry.name.c_str(),
                    evaluations, 1e6 * seconds, 1e9 * seconds / evaluations, median(lost),
                    *std::ranges::max_element(lost), above(1e-4), above(1e-2));
    }
}
