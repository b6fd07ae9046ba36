// Plugs an optimiser of one's own into the pursuit, beside two of the library's: each moves the
// echoes that the pursuit finds to the best place in their box. The same type enters the bench in
// one line, see bench/optimisers.
#include <chrono>
#include <complex>
#include <cstdio>
#include <span>
#include <vector>

#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "own_optimiser/compass_search.hpp"
#include "support/command_line.hpp"

namespace {

using namespace echosieve;
using Complex = std::complex<double>;

// Three echoes, the second and third 1.3 us apart, in noise 30 dB below the first one.
std::vector<Complex> noisy_frame(const SamplingGrid& grid) {
    std::vector<Complex> samples(grid.count);
    for (const Echo<Gabor<double>>& echo :
         {Echo<Gabor<double>>{{3.10e-6, 4.1e6, 1.05e6}, 1.0},
          Echo<Gabor<double>>{{5.00e-6, 3.9e6, 0.95e6}, {0.0, 0.8}},
          Echo<Gabor<double>>{{6.30e-6, 4.0e6, 1.00e6}, -0.6}}) {
        add(echo, grid, std::span<Complex>(samples));
    }
    RandomStream stream(1);
    for (Complex& sample : samples) {
        sample += 0.03 * Complex(stream.normal(), stream.normal());
    }
    return samples;
}

template <class Refine>
void take_apart(const char* name, const Signal<Complex>& signal, const GaborBox& box,
                const Refine& refinement) {
    const auto begin = std::chrono::steady_clock::now();
    const auto result = pursue(signal, box, Orthogonal{.atoms = 3}, refinement, 1);
    const std::chrono::duration<double, std::micro> time = std::chrono::steady_clock::now() - begin;
    std::printf("%-16s explains %.6f of the energy in %5.0f us; arrivals", name, result.explained(),
                time.count());
    for (const auto& echo : result.atoms) {
        std::printf(" %.3f", 1e6 * echo.atom.arrival);
    }
    std::printf(" us\n");
}

int compare() {
    const SamplingGrid grid{
        .start_time = 0, .sampling_rate = 8e6, .count = 72, .mixing_frequency = 4e6};
    const std::vector<Complex> samples = noisy_frame(grid);
    const Signal<Complex> signal{samples, grid};
    const GaborBox box = GaborBox::around({.centre_frequency = 4e6, .bandwidth = 1e6}, 0.10,
                                          Gate{.begin = 1e-6, .end = 8e-6});
    take_apart("compass search", signal, box, CompassSearch{.iterations = 60});
    take_apart("swarm of 50", signal, box, Swarm{.particles = 50, .iterations = 60});
    take_apart("Gauss-Newton", signal, box, GaussNewton{});
    std::printf("Synthetic data. %s\n", examples::notice);
    return 0;
}

}  // namespace

int main(int argc, char** argv) {
    return examples::CommandLine("own_optimiser",
                                 "Puts an optimiser of one's own into the pursuit.")
        .run(argc, argv, compare);
}
