// Swarms, differential evolution and covariance adaptation: any option, box and objective.
#include <cstddef>
#include <cstdint>

#include "echosieve/optimise/covariance_adaptation.hpp"
#include "echosieve/optimise/differential_evolution.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "input.hpp"
#include "objective.hpp"

using namespace echosieve;
using namespace echosieve::fuzz;

namespace {

template <class O>
void run(FuzzInput& in, O optimiser) {
    set_limits(in, optimiser);
    minimise_anything<double, AnyConstrained<double>>(in, optimiser, optimiser.max_evaluations);
}

template <class Swarm>
[[nodiscard]] Swarm any_swarm(FuzzInput& in) {
    Swarm swarm;
    swarm.particles = in.byte() < 250 ? in.count(0, 12) : in.bits();
    swarm.initial_velocity = in.number(0.5);
    swarm.largest_velocity = in.number(1);
    if constexpr (requires { swarm.topology.reach; }) {
        swarm.topology.reach = in.number_of(4);
    }
    if constexpr (requires { swarm.topology.informed; }) {
        swarm.topology.informed = in.number_of(4);
    }
    if constexpr (requires { swarm.move.inertia; }) {
        swarm.move.inertia = in.number(0.7);
    }
    if constexpr (requires { swarm.move.cognition; }) {
        swarm.move.cognition = in.number(2.05);
        swarm.move.social = in.number(2.05);
    }
    if constexpr (requires { swarm.move.acceleration; }) {
        swarm.move.acceleration = in.number(1.2);
    }
    if constexpr (requires { swarm.bounds.restitution; }) {
        swarm.bounds.restitution = in.number(0.5);
    }
    swarm.epsilon.theta = in.number(0.2);
    swarm.epsilon.control = in.number(0.2);
    swarm.epsilon.exponent = in.number(5);
    return swarm;
}

template <class Evolution>
[[nodiscard]] Evolution any_evolution(FuzzInput& in) {
    Evolution evolution;
    evolution.population = in.byte() < 250 ? in.count(0, 12) : in.bits();
    auto& control = evolution.parameters;
    control.differential_weight = in.number(0.6);
    control.crossover_rate = in.number(0.7);
    if constexpr (requires { control.weight_dither; }) {
        control.weight_dither = in.number(0.25);
    } else {
        control.smallest_weight = in.number(0.1);
        control.largest_weight = in.number(1);
        control.weight_renewal = in.number(0.1);
        control.crossover_renewal = in.number(0.1);
    }
    return evolution;
}

[[nodiscard]] CovarianceAdaptation any_adaptation(FuzzInput& in) {
    CovarianceAdaptation method;
    method.population = in.byte() < 250 ? in.count(0, 12) : in.bits();
    method.initial_step = in.number(0.3);
    method.redraws = in.number_of(3);
    method.restarts = in.number_of(4);
    method.population_growth = in.number(2);
    method.value_tolerance = in.number(1e-13);
    method.step_tolerance = in.number(1e-11);
    method.condition_limit = in.number(1e14);
    method.flat_iterations = in.number_of(10);
    return method;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    FuzzInput in(data, size);
    switch (in.byte() % 12) {
        case 0:
            run(in, any_swarm<Swarm>(in));
            break;
        case 1:
            run(in, any_swarm<RingSwarm>(in));
            break;
        case 2:
            run(in, any_swarm<InertiaSwarm>(in));
            break;
        case 3:
            run(in, any_swarm<StandardSwarm>(in));
            break;
        case 4:
            run(in, any_swarm<ParticleSwarm<Ring, PeriodicBounds, InertiaMove>>(in));
            break;
        case 5:
            run(in, any_swarm<ParticleSwarm<GlobalBest, ReflectingBounds>>(in));
            break;
        case 6:
            run(in, any_swarm<ParticleSwarm<RandomInformants, BouncingBounds, SphericalMove>>(in));
            break;
        case 7:
            run(in, any_evolution<DifferentialEvolution>(in));
            break;
        case 8:
            run(in, any_evolution<SelfAdaptingDifferentialEvolution>(in));
            break;
        case 9:
            run(in, any_evolution<GreedyDifferentialEvolution>(in));
            break;
        case 10:
            run(in,
                any_evolution<DifferentialPopulation<CurrentToBestBase, SelfAdaptingParameters>>(
                    in));
            break;
        default:
            run(in, any_adaptation(in));
    }
    return 0;
}
