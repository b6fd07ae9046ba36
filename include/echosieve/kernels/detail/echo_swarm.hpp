// A particle swarm that looks for one Gaussian echo in a short complex gate, a vector lane a
// particle.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "echosieve/core/detail/aligned.hpp"
#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/instruction_set.hpp"

// Compiled: link echosieve::kernels.

namespace echosieve {

namespace kernels {
struct EchoSwarmTask;
}

// Symbols (time in samples from the gate's first, n)
//   nu arrival;   phi rotation a sample [rad];   a decay a squared sample;   w_n weights
//   g_n = exp(-a (n - nu)^2 + i phi (n - nu));   r_n residual, times w_n
//   E(nu, phi, a) = |sum_n r_n conj(g_n)|^2 / sum_n w_n |g_n|^2
//                 energy that the echo explains, its amplitude and phase the best ones
//
// A swarm with constriction: v <- chi (v + c1 r1 (p - x) + c2 r2 (g - x)), x <- x + v, a particle
// that leaves the bounds stops there (Clerc and Kennedy 2002), all particles evaluated before any
// moves. At the start they stand still, spread evenly and in the order of their arrivals: one at
// random within each of as many parts of the range as there are particles, each in another part of
// the frequencies and bandwidths than its neighbours. For the first iterations g is the best place
// of a particle and its two neighbours, then that of all: the best of several echoes is found out
// before all gather about one. Drawn by xoshiro128++ (Blackman and Vigna 2021), a generator a
// particle.
//
// Sums go over the samples where the atom is above 3e-4 of its peak. All is computed in float, in
// the same order whatever the instruction set and without fused operations: all sets give the same
// bits.

/// How the swarm runs. The defaults' moves are stable in mean and variance (Poli 2009).
struct EchoSwarmOptions {
    std::size_t particles = 50;    ///< 1 to 1024
    std::size_t iterations = 100;  ///< 1 or more: evaluations of each particle
    double inertia = 0.7298;       ///< chi, in [0, 1)
    double own_pull = 1.49618;     ///< chi c1, in [0, 4)
    double best_pull = 1.49618;    ///< chi c2, in [0, 4)
    double local_part = 0.25;      ///< of the iterations, in [0, 1], told by neighbours alone
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
ECHOSIEVE_API void validate(const EchoSwarmOptions& options);

/// Where the swarm may go; equal ends hold a parameter fixed. Particles are spread evenly over the
/// root of the decay, which is proportional to the bandwidth.
struct EchoSwarmBounds {
    struct Range {
        double lower = 0;
        double upper = 0;
    };
    Range arrival;     ///< nu, at most 5 / sqrt(a) outside the gate
    Range rotation;    ///< phi, within -pi to pi
    Range root_decay;  ///< sqrt(a), within 0.01 to 1, the upper end at most 4 times the lower one
};

/// A place within the bounds, and E there.
struct EchoSwarmPoint {
    double arrival = 0;
    double rotation = 0;
    double root_decay = 0;
    double explained = 0;
};

/// Swarms on gates of one length, one after the other. Not thread-safe: one object a thread. All is
/// allocated when it is made.
class EchoSwarm {
public:
    /// Longest gate.
    static constexpr std::size_t most_samples = 1024;

    /// `weights`, each in [0, 1]: one a sample, their number the gate's length. Throws InvalidInput
    /// for no or too many samples, for weights, bounds or options outside their domain, or a set
    /// that is not available.
    ECHOSIEVE_API EchoSwarm(std::span<const double> weights, const EchoSwarmBounds& bounds,
                            const EchoSwarmOptions& options = {},
                            InstructionSet set = default_instruction_set());

    [[nodiscard]] std::size_t samples() const noexcept { return count_; }
    [[nodiscard]] const EchoSwarmOptions& options() const noexcept { return options_; }
    [[nodiscard]] InstructionSet instruction_set() const noexcept { return set_; }

    /// Starts the random numbers of a seed; `stream` tells frames of one seed apart. Searches go on
    /// from where the last one stopped.
    ECHOSIEVE_API void seed(std::uint64_t seed, std::uint64_t stream = 0) noexcept;

    /// Runs a swarm on the residual, `real` and `imag` of r_n. Throws InvalidInput unless both have
    /// the gate's length and the sum of their squares is finite. Explained energy 0 where all are
    /// 0.
    [[nodiscard]] ECHOSIEVE_API EchoSwarmPoint search(std::span<const double> real,
                                                      std::span<const double> imag);

    /// E at given points, by the same kernel: for tests and for other optimisers. Arrival, rotation
    /// and root of the decay are clamped to the bounds; what `explained` the points bring does not
    /// matter. Throws InvalidInput as search() does, for NaN among the points, or unless there are
    /// 1 to options().particles points and as many numbers out.
    ECHOSIEVE_API void explained(std::span<const double> real, std::span<const double> imag,
                                 std::span<const EchoSwarmPoint> points, std::span<double> out);

private:
    double load(std::span<const double> real, std::span<const double> imag);
    void place_at_random() noexcept;
    [[nodiscard]] std::uint32_t draw(std::size_t particle) noexcept;
    [[nodiscard]] kernels::EchoSwarmTask task() noexcept;

    std::size_t count_;
    EchoSwarmBounds bounds_;
    EchoSwarmOptions options_;
    InstructionSet set_;
    std::size_t stored_;                   // particles in whole groups
    AlignedVector<float> samples_;         // real, imaginary parts, weights, each amid zeros
    AlignedVector<float> numbers_;         // of the particles, see task()
    AlignedVector<std::uint32_t> random_;  // states of the generators
    std::array<float, 4> best_{};          // place and energy
};

}  // namespace echosieve
