// Methods that go downhill, those made of others, and constraints: any option, box and objective.
#include <cstddef>
#include <cstdint>

#include "echosieve/optimise/augmented_lagrangian.hpp"
#include "echosieve/optimise/blockwise_search.hpp"
#include "echosieve/optimise/differential_evolution.hpp"
#include "echosieve/optimise/levenberg_marquardt.hpp"
#include "echosieve/optimise/multi_start.hpp"
#include "echosieve/optimise/nelder_mead.hpp"
#include "echosieve/optimise/quasi_newton.hpp"
#include "input.hpp"
#include "objective.hpp"

using namespace echosieve;
using namespace echosieve::fuzz;

namespace {

template <Real R = double, class Function = AnyObjective<R>, class O>
void run(FuzzInput& in, O optimiser) {
    set_limits(in, optimiser);
    minimise_anything<R, Function>(in, optimiser, optimiser.max_evaluations);
}

[[nodiscard]] QuasiNewton any_quasi_newton(FuzzInput& in) {
    QuasiNewton method;
    set_limits(in, method);
    method.memory = in.count(0, 24);
    method.initial_step = in.number(0.1);
    method.sufficient_decrease = in.number(1e-4);
    method.curvature = in.number(0.9);
    method.gradient_tolerance = in.number(1e-8);
    method.step_tolerance = in.number(1e-12);
    method.value_tolerance = in.number(1e-13);
    return method;
}

[[nodiscard]] NelderMead any_simplex(FuzzInput& in) {
    NelderMead method;
    set_limits(in, method);
    method.reflection = in.number(1);
    method.expansion = in.number(2);
    method.contraction = in.number(0.5);
    method.shrinkage = in.number(0.5);
    method.adaptive = in.flag();
    method.initial_size = in.number(0.1);
    method.restarts = in.number_of(5);
    method.step_tolerance = in.number(1e-8);
    method.value_tolerance = in.number(1e-12);
    return method;
}

[[nodiscard]] LevenbergMarquardt any_marquardt(FuzzInput& in) {
    LevenbergMarquardt method;
    set_limits(in, method);
    method.initial_damping = in.number(1e-4);
    method.damping_fall = in.number(5);
    method.largest_step = in.number(1);
    method.gradient_tolerance = in.number(1e-10);
    method.step_tolerance = in.number(1e-10);
    method.value_tolerance = in.number(1e-12);
    return method;
}

[[nodiscard]] AugmentedLagrangian<> any_lagrangian(FuzzInput& in) {
    AugmentedLagrangian<> method;
    method.inner = any_quasi_newton(in);
    method.initial_penalty = in.flag() ? in.number(1) : 0;
    method.penalty_growth = in.number(10);
    method.largest_penalty = in.number(1e12);
    method.required_fall = in.number(0.5);
    method.margin = in.number(1e-8);
    method.feasibility_tolerance = in.number(1e-8);
    method.value_tolerance = in.number(1e-10);
    return method;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    FuzzInput in(data, size);
    switch (in.byte() % 9) {
        case 0:
            run(in, any_quasi_newton(in));
            break;
        case 1:
            run(in, any_simplex(in));
            break;
        case 2:
            run(in, any_marquardt(in));
            break;
        case 3:
            run<double, AnyConstrained<double>>(in, any_lagrangian(in));
            break;
        case 4:
            run<float>(in, any_quasi_newton(in));
            break;
        case 5:
            run<float>(in, any_marquardt(in));
            break;
        case 6: {
            MultiStart<NelderMead> method{.local = any_simplex(in), .samples = in.count(0, 12)};
            run(in, method);
            break;
        }
        case 7: {
            GlobalThenLocal<DifferentialEvolution, QuasiNewton> method;
            set_limits(in, method.global);
            method.global.population = in.count(0, 12);
            method.local = any_quasi_newton(in);
            method.growth = in.number(1.5);
            run(in, method);
            break;
        }
        default: {
            BlockwiseSearch<> method{.local = any_marquardt(in)};
            method.block = in.number_of(3);
            method.candidates = in.count(0, 10);
            method.settling = in.number_of(3);
            run(in, method);
        }
    }
    return 0;
}
