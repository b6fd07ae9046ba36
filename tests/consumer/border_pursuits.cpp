// The pursuits: compiled ones where this file's flags suit the library's, made here where they
// don't.
#include <Eigen/Core>
#include <cmath>
#include <complex>
#include <cstdio>
#include <span>
#include <vector>

#include "border.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/pursuit/detail/compiled.hpp"

using namespace echosieve;

void take_signals_apart() {
    const SamplingGrid grid{20e-6, 4e6, 44, 4e6};
    const GaborBox box = GaborBox::around({4e6, 1e6}, 0.10, {grid.start_time, grid.end_time()});
    std::vector<std::complex<double>> samples(grid.count);
    const std::span<std::complex<double>> view(samples);
    add(Echo<Gabor<double>>{{24e-6, 4.1e6, 1e6}, 1.0}, grid, view);
    add(Echo<Gabor<double>>{{27.5e-6, 3.9e6, 1.05e6}, {0.3, 0.5}}, grid, view);
    const auto found = pursue(Signal<std::complex<double>>{samples, grid}, box,
                              Orthogonal{.atoms = 2}, GaussNewton{}, 1);
    FastPursuit<double> fast(grid, box, {.atoms = 2});
    const auto& other = fast.run(samples);
    for (const auto* result : {&found, &other}) {
        for (const auto& echo : result->atoms) {
            std::printf("echo %.4f us %.4f MHz %.3f %.3f\n", 1e6 * echo.atom.arrival,
                        1e-6 * echo.atom.centre_frequency, echo.amplitude.real(),
                        echo.amplitude.imag());
        }
    }
    Eigen::MatrixXd columns = Eigen::MatrixXd::Identity(20, 20);
    columns.col(3).setConstant(std::sqrt(0.05));
    GramPursuit<double> gram(columns, 3);
    GramPursuitResult<double> result;
    const Eigen::MatrixXd signals = 2 * columns.middleCols(2, 4);
    gram.run(signals, {}, result);
    std::printf("columns %d %d, %.6f\n", static_cast<int>(result.columns(0, 0)),
                static_cast<int>(result.columns(0, 1)), result.coefficients(0, 1));
#if defined(ECHOSIEVE_COMPILED) && ECHOSIEVE_COMPILED == ECHOSIEVE_LAYOUT
    std::fprintf(stderr, "pursuits of the library\n");
#else
    std::fprintf(stderr, "pursuits made here\n");
#endif
}
