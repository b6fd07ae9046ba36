// The textbook's pursuit, to measure the fast path against: nothing of the library in it.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace textbook {

/// amplitude exp(-alpha u^2) cos(2 pi frequency u + phase), u = t - arrival, alpha of the -6 dB
/// bandwidth.
struct Echo {
    double arrival = 0;    ///< [s]
    double frequency = 0;  ///< [Hz]
    double bandwidth = 0;  ///< [Hz]
    double amplitude = 0;
    double phase = 0;  ///< [rad]
};

/// Even samples from start [s] on, at rate [Hz].
struct Samples {
    const double* values = nullptr;
    std::size_t count = 0;
    double start = 0;
    double rate = 0;
};

/// Arrival, frequency, bandwidth.
struct Bounds {
    std::array<double, 3> lower{};
    std::array<double, 3> upper{};
};

struct Swarm {
    int particles = 50;
    int iterations = 100;
};

/// Arrival, frequency, bandwidth of the best echo that a global-best particle swarm finds.
[[nodiscard]] std::array<double, 3> search(const Samples& residual, const Bounds& bounds,
                                           const Swarm& swarm, std::uint64_t seed);
/// Energy that an echo there explains, its amplitude and phase by projection.
[[nodiscard]] double captured(const Samples& residual, const std::array<double, 3>& place);
/// Writes what that echo leaves to `left`, which may be the samples themselves.
void subtract(const Samples& residual, const std::array<double, 3>& place, double* left);

/// Echo after echo, each the best that a global-best particle swarm finds on what the others left,
/// its amplitude and phase by projection; one exponential, cosine and sine a sample.
struct Pursuit {
    std::vector<Echo> echoes;
    double left = 0;  ///< the last residual's energy
};
[[nodiscard]] Pursuit pursue(const Samples& samples, const Bounds& bounds, std::size_t echoes,
                             const Swarm& swarm, std::uint64_t seed);

/// Energy that echoes leave of the samples.
[[nodiscard]] double residual_energy(const Samples& samples, const std::vector<Echo>& echoes);

}  // namespace textbook
