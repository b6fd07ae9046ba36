// pursue() in all its forms on any signal, box and option.
#include <complex>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "echoes.hpp"
#include "echosieve/core/detail/signal.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "echosieve/pursuit/detail/compiled.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "input.hpp"
#include "refused.hpp"

using namespace echosieve;
using namespace echosieve::fuzz;

namespace {

constexpr std::size_t most_samples = 200;

template <Sample T, class Refine>
void run(FuzzInput& in, const Refine& refinement) {
    const bool baseband = is_complex<T> && in.flag();
    const SamplingGrid grid = any_grid(in, most_samples, baseband ? 4e6 : 40e6, baseband ? 4e6 : 0);
    const GaborBox box = any_box<Gabor<double>>(in, grid);
    const Stop stop = any_stop(in);
    const std::size_t atoms = in.number_of(12);
    const bool orthogonal = in.flag();
    const std::vector<T> samples = any_signal<T>(in, grid);
    EchoPursuit<RealOf<T>> found;
    const bool good = accepted([&] {
        const Signal<T> signal{samples, grid};
        found = orthogonal
                    ? pursue(signal, box, Orthogonal{.atoms = atoms}, refinement, in.byte(), stop)
                    // Its atoms may come again and again: their number is the only end.
                    : pursue(signal, box, Greedy{.atoms = atoms % 64}, refinement, in.byte(), stop);
    });
    if (good) {
        hold(found.status != PursuitStatus::not_run, "a pursuit that did not run");
        hold(found.residual_energy.size() == found.atoms.size(), "energies and atoms differ");
        for (const auto& echo : found.atoms) {
            hold(accepted([&] { validate(echo.atom); }), "an atom that is none");
        }
    }
}

template <Sample T>
void any_refinement(FuzzInput& in) {
    switch (in.byte() % 3) {
        case 0:
            return run<T>(in, GaussNewton{in.whole(20), in.number(1e-9)});
        case 1:
            return run<T>(in, NoRefinement{});
        default: {
            Swarm swarm{.particles = in.count(0, 12), .iterations = in.count(0, 8)};
            swarm.initial_velocity = in.number(0.5);
            swarm.largest_velocity = in.number(1);
            swarm.move.cognition = in.number(2.05);
            swarm.move.social = in.number(2.05);
            swarm.move.kappa = in.number(1);
            return run<T>(in, swarm);
        }
    }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    FuzzInput in(data, size);
    switch (in.byte() % 4) {
        case 0:
            any_refinement<std::complex<double>>(in);
            break;
        case 1:
            any_refinement<double>(in);
            break;
        case 2:
            any_refinement<std::complex<float>>(in);
            break;
        default:
            any_refinement<float>(in);
    }
    return 0;
}
