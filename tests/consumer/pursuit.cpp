// A user's file that takes a signal apart; built with the compiled pursuits and without.
#include <complex>
#include <cstdio>
#include <span>
#include <vector>

#include "echosieve/echosieve.hpp"

using namespace echosieve;

int main() {
#ifdef ECHOSIEVE_COMPILED
    std::printf("compiled\n");
#else
    std::printf("header_only\n");
#endif
    const SamplingGrid grid{20e-6, 4e6, 44, 4e6};
    const GaborBox box = GaborBox::around({4e6, 1e6}, 0.10, {grid.start_time, grid.end_time()});
    std::vector<std::complex<double>> samples(grid.count);
    const std::span<std::complex<double>> view(samples);
    add(Echo<Gabor<double>>{{24e-6, 4.1e6, 1e6}, 1.0}, grid, view);
    add(Echo<Gabor<double>>{{27.5e-6, 3.9e6, 1.05e6}, {0.3, 0.5}}, grid, view);
    const Signal<std::complex<double>> signal{samples, grid};
    const auto found =
        pursue(signal, box, Orthogonal{.atoms = 2}, Swarm{.particles = 20, .iterations = 40}, 1);
    FastPursuit<double> fast(grid, box, {.atoms = 2});
    const auto& other = fast.run(samples);
    for (const auto* result : {&found, &other}) {
        for (const auto& echo : result->atoms) {
            std::printf("%a %a %a %a %a\n", echo.atom.arrival, echo.atom.centre_frequency,
                        echo.atom.bandwidth, echo.amplitude.real(), echo.amplitude.imag());
        }
    }
    std::printf("%.4f %.4f\n", static_cast<double>(found.explained()),
                static_cast<double>(other.explained()));
    return found.explained() > 0.999 && other.explained() > 0.999 ? 0 : 1;
}
