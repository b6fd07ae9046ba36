// How far did a wall move between two frames? The delay of two echoes by the envelope and by the
// phase, in closed form and from samples, with the least error that noise allows.
#include <cmath>
#include <complex>
#include <cstdio>
#include <span>
#include <string>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/correlate/bound.hpp"
#include "echosieve/correlate/delay.hpp"
#include "echosieve/correlate/sampled.hpp"
#include "support/command_line.hpp"

using namespace echosieve;

namespace {

int correlate() {
    constexpr double sound_speed = 1540;  // [m/s]
    constexpr double moved = 12e-6;       // [m], away from the sensor
    constexpr double sampling_rate = 125e6;

    // A wall 15 mm deep, seen by a sensor of 4 MHz with 1 MHz of bandwidth, in two frames.
    const Echo<Gabor<double>> before{{2 * 15e-3 / sound_speed, 4e6, 1e6}, std::polar(1.0, 0.5)};
    Echo<Gabor<double>> after = before;
    after.atom.arrival += 2 * moved / sound_speed;
    after.amplitude *= 0.9;

    std::puts("Two echoes of one wall (4 MHz, 1 MHz at -6 dB); truth: it moved by 12 um.\n");

    const Delay delay = delay_between(before, after);
    if (!delay.usable()) {
        std::printf("No delay: %s\n", std::string(describe(delay.status)).c_str());
        return 1;
    }
    const auto micrometres = [&](double seconds) {
        return 1e6 * displacement(seconds, sound_speed);
    };
    std::puts("In closed form, from the parameters of the echoes:");
    std::printf("  by the envelope   %9.4f um\n", micrometres(delay.envelope_delay));
    std::printf("  by the phase      %9.4f um, correlation %.4f\n", micrometres(delay.delay),
                delay.correlation);
    std::printf(
        "  the phase repeats every %.2f um; the envelope, or the frame before, must say\n"
        "  which repeat is the right one\n\n",
        micrometres(1 / delay.frequency));

    // The same from samples: complex baseband at 8 MHz, as the tracking works on.
    const SamplingGrid grid{
        .start_time = 16e-6, .sampling_rate = 8e6, .count = 64, .mixing_frequency = 4e6};
    std::vector<std::complex<double>> y1(grid.count);
    std::vector<std::complex<double>> y2(grid.count);
    add(before, grid, std::span(y1));
    add(after, grid, std::span(y2));
    const std::span<const std::complex<double>> frame1(y1);
    const std::span<const std::complex<double>> frame2(y2);
    const LagDelay sampled = lag_delay(frame1, frame2, grid, 4e6, 16);
    std::puts("From 64 complex samples at 8 MHz:");
    std::printf("  by the envelope   %9.4f um (parabola through three lags)\n",
                micrometres(sampled.envelope_delay));
    std::printf("  by the phase      %9.4f um\n\n", micrometres(sampled.delay));

    std::puts("Least standard deviation of the displacement (Cramer-Rao), samples at 125 MHz:");
    std::puts("  peak signal to noise    by the envelope    by the phase");
    for (const double decibels : {10.0, 20.0, 30.0, 40.0}) {
        const double ratio = std::pow(10.0, decibels / 20);
        const EchoBound bound =
            echo_bound(before.atom, energy_to_noise(before.atom, ratio, 1, sampling_rate));
        std::printf("  %17.0f dB  %15.3f um  %11.3f um\n", decibels,
                    micrometres(std::sqrt(2.0) * bound.arrival), micrometres(delay_bound(bound)));
    }
    std::printf("\n%s\n", examples::notice);
    return 0;
}

}  // namespace

int main(int argc, char** argv) {
    return examples::CommandLine("correlate_two_echoes",
                                 "The delay of two echoes, by the envelope and by the phase.")
        .run(argc, argv, correlate);
}
