// The frames that the fast path and the textbook's pursuit are measured on.
#pragma once

#include <complex>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/condition/gate_baseband.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "textbook_pursuit.hpp"

namespace bench {

/// 5.2 us at 125 MHz, 4 MHz of centre, 1 MHz of bandwidth.
inline constexpr echosieve::SamplingGrid gate{20e-6, 125e6, 650, 0};
inline constexpr echosieve::Sensor sensor{4e6, 1e6};
inline constexpr std::size_t echoes_a_frame = 10;
/// Standard deviation: 20 dB below the peak of an echo of amplitude 1.
inline constexpr double noise = 0.1;

[[nodiscard]] inline echosieve::GaborBox box() {
    return echosieve::GaborBox::around(sensor, 0.10, {gate.start_time, gate.end_time()});
}
[[nodiscard]] inline textbook::Bounds textbook_bounds() {
    const echosieve::GaborBox b = box();
    return {{b.arrival.begin, b.centre_frequency.lower, b.bandwidth.lower},
            {b.arrival.end, b.centre_frequency.upper, b.bandwidth.upper}};
}

namespace detail {

[[nodiscard]] inline echosieve::Echo<echosieve::Gabor<double>> random_echo(
    echosieve::RandomStream& stream, double margin, double least_amplitude) {
    const auto spread = [&] { return 0.9 + 0.2 * stream.uniform(); };
    const double length = gate.end_time() - gate.start_time - 2 * margin;
    return {{gate.start_time + margin + length * stream.uniform(),
             sensor.centre_frequency * spread(), sensor.bandwidth * spread()},
            std::polar(least_amplitude + (1 - least_amplitude) * stream.uniform(),
                       2 * std::numbers::pi * stream.uniform())};
}
inline void add_noise(std::vector<double>& frame, echosieve::RandomStream& stream) {
    for (double& x : frame) {
        x += noise * stream.normal();
    }
}

}  // namespace detail

/// Ten echoes anywhere in the gate, of amplitudes 0.2 to 1, and noise.
[[nodiscard]] inline std::vector<double> crowded_frame(std::uint64_t seed) {
    echosieve::RandomStream stream(seed);
    std::vector<double> frame(gate.count);
    for (std::size_t k = 0; k < echoes_a_frame; ++k) {
        echosieve::add(detail::random_echo(stream, 0, 0.2), gate, std::span<double>(frame));
    }
    detail::add_noise(frame, stream);
    return frame;
}

/// One echo of amplitude 1 in noise, its arrival at least 1 us inside the gate.
struct SingleEcho {
    echosieve::Echo<echosieve::Gabor<double>> echo;
    std::vector<double> frame;
};
[[nodiscard]] inline SingleEcho single_echo(std::uint64_t seed) {
    echosieve::RandomStream stream(seed, 1);
    SingleEcho out{detail::random_echo(stream, 1e-6, 1), std::vector<double>(gate.count)};
    echosieve::add(out.echo, gate, std::span<double>(out.frame));
    detail::add_noise(out.frame, stream);
    return out;
}

/// Complex samples of a frame's gate.
template <echosieve::Real R>
[[nodiscard]] std::vector<std::complex<R>> conditioned(echosieve::GateBasebander<R>& basebander,
                                                       const std::vector<double>& frame) {
    std::vector<std::complex<R>> samples(basebander.grid().count);
    basebander.process(std::span<const double>(frame), std::span<std::complex<R>>(samples));
    return samples;
}

[[nodiscard]] inline double energy(std::span<const double> x) {
    double sum = 0;
    for (const double value : x) {
        sum += value * value;
    }
    return sum;
}

}  // namespace bench
