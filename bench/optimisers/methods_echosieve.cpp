// The library's own optimisers.
#include "echosieve/optimise/particle_swarm.hpp"
#include "method.hpp"

namespace bench {

using namespace echosieve;

namespace {

// A swarm that has stood still for so many iterations is begun anew.
constexpr std::size_t still = 25;

template <class S>
S restarted() {
    S swarm;
    swarm.iterations = std::numeric_limits<std::size_t>::max();
    swarm.tolerance = 1e-9;
    swarm.stagnation_iterations = still;
    return swarm;
}

}  // namespace

std::vector<Method> echosieve_methods() {
    const std::string again = "; begun anew after 25 iterations that gained less than 1e-9";
    StandardSwarm standard = restarted<StandardSwarm>();
    standard.particles = 40;
    InertiaSwarm falling;
    falling.iterations = 100;
    return {
        enter<Takes::all>("Swarm", "50 particles, constricted move, global best" + again,
                          restarted<Swarm>()),
        enter<Takes::all>("RingSwarm", "50 particles, constricted move, ring" + again,
                          restarted<RingSwarm>()),
        enter<Takes::all>("StandardSwarm", "40 particles, the 2011 standard" + again, standard),
        enter<Takes::all>("InertiaSwarm",
                          "50 particles, inertia from 0.9 to 0.4 over 100 iterations, "
                          "then begun anew",
                          falling),
    };
}

}  // namespace bench
