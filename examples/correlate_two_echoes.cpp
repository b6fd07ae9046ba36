// The delay between two echoes in closed form: from the envelope, and far more precisely from the
// phase.
#include <cmath>
#include <complex>
#include <cstdio>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/correlate/cross_correlation.hpp"
#include "echosieve/correlate/delay.hpp"

int main() {
    using namespace echosieve;
    const double sound_speed = 1540;  // [m/s]
    const double movement = 12.5e-6;  // of the wall between two frames [m]
    const Echo<Gabor<double>> before{{15e-6, 4e6, 1e6}, std::polar(1.0, 0.3)};
    Echo<Gabor<double>> after = before;
    after.atom.arrival += 2 * movement / sound_speed;
    after.amplitude *= 0.9;

    std::printf("lag [ns]   |R12|      phase [rad]\n");
    for (int k = -4; k <= 4; ++k) {
        const double lag = k * 20e-9;
        const std::complex<double> r = cross_correlation(before, after, lag).value;
        std::printf("%8.0f   %.3e  %+.3f\n", lag * 1e9, std::abs(r), std::arg(r));
    }
    const Delay delay = delay_between(before, after);
    std::printf("Delay %.4f ns, so the wall moved %.4f um (set: %.4f um); correlation %.6f.\n",
                delay.delay * 1e9, delay.delay * sound_speed / 2 * 1e6, movement * 1e6,
                delay.correlation);
    std::printf("The next phase zero lies %.1f um away: larger movements need the envelope.\n",
                sound_speed / 2 / delay.frequency * 1e6);
    std::printf("Research use: not a medical device, not for diagnosis.\n");
    return delay.usable() ? 0 : 1;
}
