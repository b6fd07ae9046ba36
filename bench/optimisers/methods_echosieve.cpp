// The library's own optimisers.
#include <limits>
#include <string>

#include "echosieve/optimise/augmented_lagrangian.hpp"
#include "echosieve/optimise/blockwise_search.hpp"
#include "echosieve/optimise/covariance_adaptation.hpp"
#include "echosieve/optimise/differential_evolution.hpp"
#include "echosieve/optimise/levenberg_marquardt.hpp"
#include "echosieve/optimise/multi_start.hpp"
#include "echosieve/optimise/nelder_mead.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "echosieve/optimise/quasi_newton.hpp"
#include "method.hpp"

namespace bench {

using namespace echosieve;

namespace {

constexpr std::size_t endless = std::numeric_limits<std::size_t>::max();

// A population that has stood still for so many iterations is begun anew.
template <class S>
S restarted() {
    S swarm;
    swarm.iterations = endless;
    swarm.tolerance = 1e-9;
    swarm.stagnation_iterations = 25;
    return swarm;
}

}  // namespace

std::vector<Method> echosieve_methods() {
    const std::string again = "; begun anew after 25 iterations that gained less than 1e-9";
    const std::string random = "its defaults, from random points";
    StandardSwarm standard = restarted<StandardSwarm>();
    standard.particles = 40;
    InertiaSwarm falling;
    falling.iterations = 100;
    CovarianceAdaptation covariance;
    covariance.iterations = endless;
    std::vector<Method> out;
    out.push_back(enter<Takes::all>("Swarm", "50 particles, constricted move, global best" + again,
                                    restarted<Swarm>()));
    out.push_back(enter<Takes::all>("RingSwarm", "50 particles, constricted move, ring" + again,
                                    restarted<RingSwarm>()));
    out.push_back(
        enter<Takes::all>("StandardSwarm", "40 particles, the 2011 standard" + again, standard));
    out.push_back(enter<Takes::all>(
        "InertiaSwarm",
        "50 particles, inertia from 0.9 to 0.4 over 100 iterations, then begun anew", falling));
    out.push_back(enter<Takes::all>("DifferentialEvolution", "population 50" + again,
                                    restarted<DifferentialEvolution>()));
    out.push_back(enter<Takes::all>("SelfAdaptingDifferentialEvolution", "population 50" + again,
                                    restarted<SelfAdaptingDifferentialEvolution>()));
    out.push_back(enter<Takes::all>("CovarianceAdaptation",
                                    "its defaults: restarts with growing population", covariance));
    out.push_back(enter<Takes::fits>("LevenbergMarquardt", random, LevenbergMarquardt{},
                                     Start::random_point));
    out.push_back(enter("QuasiNewton", random, QuasiNewton{}, Start::random_point));
    out.push_back(enter("NelderMead", random, NelderMead{}, Start::random_point));
    out.push_back(enter<Takes::constrained>("AugmentedLagrangian", random + ", about QuasiNewton",
                                            AugmentedLagrangian<>{}, Start::random_point));
    // As a part of others a local run need not end on its last digit.
    constexpr LevenbergMarquardt quick{.initial_damping = 0.1, .value_tolerance = 1e-7};
    out.push_back(enter<Takes::fits>(
        "MultiStart, LevenbergMarquardt", "best of 20 points; damping 0.1, value tolerance 1e-7",
        MultiStart<LevenbergMarquardt>{.local = quick, .samples = 20, .iterations = endless}));
    out.push_back(enter<Takes::fits>(
        "BlockwiseSearch",
        "blocks of 3, 6 candidates, 2 iterations to settle; damping 0.1, value tolerance 1e-7",
        BlockwiseSearch<>{.local = quick, .block = 3, .candidates = 6, .iterations = endless}));
    out.push_back(enter("MultiStart, QuasiNewton", "best of 10 points",
                        MultiStart<QuasiNewton>{.iterations = endless}));
    GlobalThenLocal<SelfAdaptingDifferentialEvolution, QuasiNewton> evolved;
    evolved.global.population = 20;
    evolved.global.iterations = 20;
    evolved.iterations = endless;
    out.push_back(enter("GlobalThenLocal",
                        "SelfAdaptingDifferentialEvolution, population 20, 20 iterations and half "
                        "as many more each time, then QuasiNewton",
                        evolved));
    return out;
}

}  // namespace bench
