// optimise: every method's options, limits, boxes and starts.
#include <cstddef>
#include <limits>
#include <span>
#include <string>
#include <vector>

#include "bad_input.hpp"
#include "echosieve/core/box.hpp"
#include "echosieve/optimise/augmented_lagrangian.hpp"
#include "echosieve/optimise/blockwise_search.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/covariance_adaptation.hpp"
#include "echosieve/optimise/differential_evolution.hpp"
#include "echosieve/optimise/least_squares.hpp"
#include "echosieve/optimise/levenberg_marquardt.hpp"
#include "echosieve/optimise/multi_start.hpp"
#include "echosieve/optimise/nelder_mead.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/parallel.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "echosieve/optimise/quasi_newton.hpp"

namespace echosieve::test {
namespace {

constexpr std::size_t huge = std::numeric_limits<std::size_t>::max();

/// x^2, as a plain function and as a sum of squares, under a constraint that always holds.
struct Bowl {
    double operator()(std::span<const double> x) const {
        double sum = 0;
        for (const double c : x) {
            sum += c * c;
        }
        return sum;
    }
    double normal_equations(std::span<const double> x, std::span<double> gram,
                            std::span<double> gradient) const {
        for (std::size_t k = 0; k < x.size(); ++k) {
            for (std::size_t j = 0; j < x.size(); ++j) {
                gram[k * x.size() + j] = j == k ? 1 : 0;
            }
            gradient[k] = x[k];
        }
        return (*this)(x);
    }
};
struct ConstrainedBowl : Bowl {
    [[nodiscard]] std::size_t inequalities() const { return 1; }
    [[nodiscard]] std::size_t equalities() const { return 0; }
    [[nodiscard]] double equality_tolerance() const { return 0; }
    void constrain(std::span<const double>, std::span<double> g, std::span<double>) const {
        g[0] = -1;
    }
};

template <class O>
using BowlFor = std::conditional_t<std::is_same_v<O, AugmentedLagrangian<>>, ConstrainedBowl, Bowl>;

/// Minimises over a box of that many dimensions, from a start.
template <class O>
void minimise_with(const O& optimiser, std::size_t dimension = 2, std::vector<double> start = {}) {
    const Box<double> box(std::vector<double>(dimension, -1), std::vector<double>(dimension, 2));
    static_cast<void>(minimise(BowlFor<O>{}, box, optimiser, 1, start));
}

/// What all methods have.
template <class O>
void shared(BadInputs& out, const std::string& name) {
    const auto use = [](const O& optimiser) { minimise_with(optimiser); };
    out.vary(name, "target", O{}, &O::target, {not_a_number}, use);
    out.vary(name, "tolerance", O{}, &O::tolerance, {-1.0, not_a_number}, use);
    out.vary(name, "max_evaluations", O{}, &O::max_evaluations, {std::size_t{0}}, use);
    out.add(name, "size of the start point", 3, [] { minimise_with(O{}, 2, {0, 0, 0}); });
    out.add(name, "start[1]", not_a_number, [] { minimise_with(O{}, 2, {0, not_a_number}); });
    out.add(name, "width of the box in dimension 0", infinite, [] {
        const double most = std::numeric_limits<double>::max();
        static_cast<void>(minimise(BowlFor<O>{}, Box<double>({-most, 0}, {most, 1}), O{}, 1));
    });
}

void swarms(BadInputs& out) {
    shared<Swarm>(out, "Swarm");
    shared<StandardSwarm>(out, "StandardSwarm");
    const auto use = [](const auto& swarm) { minimise_with(swarm); };
    out.vary("Swarm", "particles", Swarm{}, &Swarm::particles,
             {std::size_t{0}, huge, huge / 64, std::size_t{1} << 30}, use);
    out.vary("Swarm", "initial_velocity", Swarm{}, &Swarm::initial_velocity,
             {-1.0, not_a_number, infinite}, use);
    out.vary("Swarm", "largest_velocity", Swarm{}, &Swarm::largest_velocity,
             {0.0, not_a_number, infinite}, use);
    const auto moved = [](const auto& move) {
        ParticleSwarm<GlobalBest, AbsorbingBounds, std::remove_cvref_t<decltype(move)>> swarm;
        swarm.move = move;
        minimise_with(swarm);
    };
    using C = ConstrictedMove;
    out.vary("Swarm", "cognition", C{}, &C::cognition, {-1.0, not_a_number}, moved);
    out.vary("Swarm", "social", C{}, &C::social, {-1.0, not_a_number}, moved);
    out.vary("Swarm", "kappa", C{}, &C::kappa, {0.0, 1.1, not_a_number}, moved);
    out.add("Swarm", "phi", 3, [=] { moved(C{.cognition = 1, .social = 2}); });
    out.add("Swarm", "phi", infinite, [=] { moved(C{.cognition = infinite}); });
    using I = InertiaMove;
    out.vary("InertiaSwarm", "inertia", I{}, &I::inertia, {-0.1, 1.0, not_a_number}, moved);
    out.vary("InertiaSwarm", "final_inertia", I{}, &I::final_inertia, {1.0, not_a_number}, moved);
    out.vary("InertiaSwarm", "cognition", I{}, &I::cognition, {-1.0, infinite}, moved);
    out.vary("InertiaSwarm", "social", I{}, &I::social, {-1.0, infinite}, moved);
    using S = SphericalMove;
    out.vary("StandardSwarm", "inertia", S{}, &S::inertia, {-0.1, 1.0, not_a_number}, moved);
    out.vary("StandardSwarm", "acceleration", S{}, &S::acceleration, {0.0, not_a_number}, moved);
    for (const std::size_t bad : {std::size_t{10'001}, huge}) {
        out.add("RandomInformants", "informed", bad, [=] {
            StandardSwarm swarm;
            swarm.topology.informed = bad;
            minimise_with(swarm);
        });
    }
    for (const double bad : {-0.1, 1.1, not_a_number}) {
        out.add("BouncingBounds", "restitution", bad, [=] {
            ParticleSwarm<Ring, BouncingBounds, SphericalMove> swarm;
            swarm.bounds.restitution = bad;
            minimise_with(swarm);
        });
        out.add("EpsilonLevel", "theta", bad, [=] {
            Swarm swarm;
            swarm.epsilon.theta = bad;
            minimise_with(swarm);
        });
    }
}

void evolution(BadInputs& out) {
    using D = DifferentialEvolution;
    using A = SelfAdaptingDifferentialEvolution;
    shared<D>(out, "DifferentialEvolution");
    shared<CovarianceAdaptation>(out, "CovarianceAdaptation");
    const auto use = [](const auto& optimiser) { minimise_with(optimiser); };
    out.vary("DifferentialEvolution", "population", D{}, &D::population,
             {std::size_t{0}, std::size_t{3}, huge, huge / 64, std::size_t{1} << 30}, use);
    const auto controlled = [](const auto& parameters) {
        DifferentialPopulation<RandomBase, std::remove_cvref_t<decltype(parameters)>> optimiser;
        optimiser.parameters = parameters;
        minimise_with(optimiser);
    };
    using P = SharedParameters;
    out.vary("DifferentialEvolution", "differential_weight", P{}, &P::differential_weight,
             {0.0, 2.5, not_a_number}, controlled);
    out.vary("DifferentialEvolution", "crossover_rate", P{}, &P::crossover_rate,
             {-0.1, 1.1, not_a_number}, controlled);
    out.vary("DifferentialEvolution", "weight_dither", P{}, &P::weight_dither,
             {-0.1, 0.7, not_a_number}, controlled);
    using Q = SelfAdaptingParameters;
    const char* adapting = "SelfAdaptingDifferentialEvolution";
    out.vary(adapting, "largest_weight", Q{}, &Q::largest_weight, {0.0, 3.0, not_a_number},
             controlled);
    out.vary(adapting, "smallest_weight", Q{}, &Q::smallest_weight, {0.0, 1.5, not_a_number},
             controlled);
    out.vary(adapting, "weight_renewal", Q{}, &Q::weight_renewal, {-0.1, not_a_number}, controlled);
    out.vary(adapting, "crossover_renewal", Q{}, &Q::crossover_renewal, {1.1, not_a_number},
             controlled);
    using M = CovarianceAdaptation;
    const char* name = "CovarianceAdaptation";
    out.vary(name, "population", M{}, &M::population,
             {std::size_t{1}, std::size_t{2}, huge, huge / 64, std::size_t{1} << 30}, use);
    out.vary(name, "initial_step", M{}, &M::initial_step, {0.0, 1.1, not_a_number}, use);
    out.vary(name, "population_growth", M{}, &M::population_growth, {0.5, not_a_number, infinite},
             use);
    out.vary(name, "value_tolerance", M{}, &M::value_tolerance, {-1.0, not_a_number}, use);
    out.vary(name, "step_tolerance", M{}, &M::step_tolerance, {-1.0, not_a_number}, use);
    out.vary(name, "condition_limit", M{}, &M::condition_limit, {1.0, not_a_number}, use);
    out.vary(name, "flat_iterations", M{}, &M::flat_iterations, {std::size_t{0}}, use);
    static_cast<void>(A{});
}

void local(BadInputs& out) {
    using Q = QuasiNewton;
    shared<Q>(out, "QuasiNewton");
    shared<NelderMead>(out, "NelderMead");
    shared<LevenbergMarquardt>(out, "LevenbergMarquardt");
    const auto use = [](const auto& optimiser) { minimise_with(optimiser); };
    out.vary("QuasiNewton", "initial_step", Q{}, &Q::initial_step, {0.0, 1.1, not_a_number}, use);
    out.vary("QuasiNewton", "curvature", Q{}, &Q::curvature, {0.0, 1.0, not_a_number}, use);
    out.vary("QuasiNewton", "sufficient_decrease", Q{}, &Q::sufficient_decrease,
             {0.0, 0.95, not_a_number}, use);
    out.vary("QuasiNewton", "gradient_tolerance", Q{}, &Q::gradient_tolerance, {-1.0, not_a_number},
             use);
    out.vary("QuasiNewton", "step_tolerance", Q{}, &Q::step_tolerance, {-1.0, not_a_number}, use);
    out.vary("QuasiNewton", "memory", Q{}, &Q::memory, {huge, huge / 64, std::size_t{1} << 30},
             use);
    using N = NelderMead;
    out.vary("NelderMead", "reflection", N{}, &N::reflection, {0.0, not_a_number}, use);
    out.vary("NelderMead", "expansion", N{}, &N::expansion, {1.0, infinite}, use);
    out.vary("NelderMead", "contraction", N{}, &N::contraction, {0.0, 1.0}, use);
    out.vary("NelderMead", "shrinkage", N{}, &N::shrinkage, {1.0, not_a_number}, use);
    out.vary("NelderMead", "initial_size", N{}, &N::initial_size, {0.0, 1.1}, use);
    using L = LevenbergMarquardt;
    out.vary("LevenbergMarquardt", "initial_damping", L{}, &L::initial_damping,
             {-1.0, not_a_number}, use);
    out.vary("LevenbergMarquardt", "damping_fall", L{}, &L::damping_fall, {0.5, not_a_number}, use);
    out.vary("LevenbergMarquardt", "largest_step", L{}, &L::largest_step, {0.0, not_a_number}, use);
    out.vary("LevenbergMarquardt", "value_tolerance", L{}, &L::value_tolerance,
             {-1.0, not_a_number}, use);
}

void composites(BadInputs& out) {
    const auto use = [](const auto& optimiser) { minimise_with(optimiser); };
    using A = AugmentedLagrangian<>;
    shared<A>(out, "AugmentedLagrangian");
    out.vary("AugmentedLagrangian", "initial_penalty", A{}, &A::initial_penalty,
             {-1.0, not_a_number}, use);
    out.vary("AugmentedLagrangian", "penalty_growth", A{}, &A::penalty_growth, {1.0, infinite},
             use);
    out.vary("AugmentedLagrangian", "required_fall", A{}, &A::required_fall, {0.0, 1.0}, use);
    out.vary("AugmentedLagrangian", "margin", A{}, &A::margin, {-1.0, infinite}, use);
    using M = MultiStart<NelderMead>;
    shared<M>(out, "MultiStart");
    out.vary("MultiStart", "samples", M{}, &M::samples,
             {std::size_t{0}, huge, huge / 64, std::size_t{1} << 30}, use);
    using G = GlobalThenLocal<DifferentialEvolution, NelderMead>;
    shared<G>(out, "GlobalThenLocal");
    out.vary("GlobalThenLocal", "growth", G{}, &G::growth, {0.5, not_a_number, infinite}, use);
    using B = BlockwiseSearch<LevenbergMarquardt>;
    shared<B>(out, "BlockwiseSearch");
    out.vary("BlockwiseSearch", "candidates", B{}, &B::candidates,
             {std::size_t{0}, huge, huge / 64, std::size_t{1} << 30}, use);
    out.vary("BlockwiseSearch", "block", B{}, &B::block, {std::size_t{3}, huge}, use);
    out.add("BlockwiseSearch", "bounds of parameter 1", 0, [] {
        static_cast<void>(minimise(Bowl{}, Box<double>({-1, 0}, {1, 1}), B{.block = 1}, 1));
    });
}

void objectives(BadInputs& out) {
    for (const std::size_t bad : {std::size_t{0}, std::size_t{1025}}) {
        out.add("Parallel", "threads", bad, [=] { static_cast<void>(Parallel(Bowl{}, bad)); });
    }
    out.add("SumOfSquares", "number of residuals", 0, [] {
        struct None {
            [[nodiscard]] std::size_t residual_count() const { return 0; }
            void residuals(std::span<const double>, std::span<double>) const {}
        };
        static_cast<void>(SumOfSquares<None>(None{}, Box<double>({0}, {1})));
    });
}

}  // namespace

BadInputs optimise_cases() {
    BadInputs out;
    swarms(out);
    evolution(out);
    local(out);
    composites(out);
    objectives(out);
    return out;
}

}  // namespace echosieve::test
