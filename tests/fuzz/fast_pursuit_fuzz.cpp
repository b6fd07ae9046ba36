// The fast path, and the swarm in lanes, on any grid, box, weight and option.
#include <complex>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "echoes.hpp"
#include "echosieve/pursuit/detail/compiled.hpp"
#include "echosieve/pursuit/fast_pursuit.hpp"
#include "echosieve/pursuit/swarm_pursuit.hpp"
#include "input.hpp"
#include "refused.hpp"

using namespace echosieve;
using namespace echosieve::fuzz;

namespace {

// Of the grid dictionary: more take seconds, instrumented, and show nothing else.
constexpr std::size_t most_atoms = 20'000;

std::vector<double> any_weights(FuzzInput& in, std::size_t count) {
    std::vector<double> weights;
    if (in.flag()) {
        weights.assign(in.byte() < 240 ? count : in.count(0, 100), 1.0);
        for (std::size_t k = 0; k < weights.size() && k < 4; ++k) {
            weights[k] = in.between(0.01, 1);
        }
    }
    return weights;
}

template <class Result>
void check(const Result& result, std::size_t atoms) {
    hold(result.status != PursuitStatus::not_run, "a pursuit that did not run");
    hold(result.atoms.size() <= atoms, "more atoms than asked for");
    for (const auto& echo : result.atoms) {
        hold(accepted([&] { validate(echo.atom); }), "an atom that is none");
    }
}

template <Real R>
void fast(FuzzInput& in, const SamplingGrid& grid, const GaborBox& box) {
    FastOptions options{.atoms = in.number_of(20), .sweeps = in.whole(3), .stop = any_stop(in)};
    options.polish.evaluations = in.whole(6);
    options.polish.tolerance = in.number(3e-7);
    const std::vector<double> weights = any_weights(in, grid.count);
    static_cast<void>(accepted([&] {
        FastPursuit<R> pursuit(grid, box, options, weights);
        if (pursuit.dictionary_size() > most_atoms) {
            return;
        }
        for (int run = 0; run < 2; ++run) {  // each in the memory of the one before
            const auto samples = any_signal<std::complex<R>>(in, grid);
            static_cast<void>(accepted([&] {
                check(pursuit.run(std::span<const std::complex<R>>(samples)), options.atoms);
            }));
        }
    }));
}

template <Real R>
void swarm(FuzzInput& in, const SamplingGrid& grid, const GaborBox& box) {
    SwarmPursuitOptions options{.atoms = in.number_of(4), .swarm = {}, .stop = any_stop(in)};
    options.swarm.particles = in.count(0, 40);
    options.swarm.iterations = in.count(0, 10);
    options.swarm.inertia = in.number(0.7298);
    options.swarm.own_pull = in.number(1.49618);
    options.swarm.best_pull = in.number(1.49618);
    options.swarm.local_part = in.number(0.25);
    const InstructionSet set = all_instruction_sets[in.byte() % all_instruction_sets.size()];
    const std::vector<double> weights = any_weights(in, grid.count);
    static_cast<void>(accepted([&] {
        SwarmPursuit<R> pursuit(grid, box, options, weights, set);
        const auto samples = any_signal<std::complex<R>>(in, grid);
        static_cast<void>(accepted([&] {
            check(pursuit.run(std::span<const std::complex<R>>(samples), in.byte()), options.atoms);
        }));
    }));
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    FuzzInput in(data, size);
    const int kind = in.byte() % 4;
    const SamplingGrid grid = any_grid(in, in.byte() < 250 ? 60 : 300, 4e6, 4e6);
    const GaborBox box = any_box<Gabor<double>>(in, grid);
    switch (kind) {
        case 0:
            fast<float>(in, grid, box);
            break;
        case 1:
            fast<double>(in, grid, box);
            break;
        case 2:
            swarm<float>(in, grid, box);
            break;
        default:
            swarm<double>(in, grid, box);
    }
    return 0;
}
