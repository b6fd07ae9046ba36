// A line of scatterers that move as they are told, as the tests of tracks and common motion use it.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>

#include "echosieve/core/random.hpp"
#include "motion/line/line.hpp"

namespace echosieve::test {

/// An echo of 4 MHz and 1 MHz bandwidth that is at `depth(i)` [m] in frame i.
template <class Depth>
void add_moving_echo(LineHistory& line, std::complex<double> amplitude, const Depth& depth) {
    for (Eigen::Index i = 0; i < line.frames(); ++i) {
        const double arrival = line.settings.arrival(depth(i));
        for (Eigen::Index k = 0; k < line.samples.cols(); ++k) {
            const double u = (line.grid.time(static_cast<double>(k)) - arrival) * 1e6;
            if (std::abs(u) < 2) {  // exp(-14): below -120 dB
                line.samples(i, k) += amplitude * std::exp(-3.572 * u * u) *
                                      std::polar(1.0, -2 * std::numbers::pi * 4e6 * arrival);
            }
        }
    }
}

/// Echoes of 4 MHz and 1 MHz bandwidth every 0.1 mm from 5 to 25 mm, amplitudes normal, at 500
/// frames a second. `path(z, i)` [m] is what the scatterer of depth z does in frame i. `noise` is
/// the standard deviation of real and imaginary part; an echo's peak is of order 1.
template <class Path>
LineHistory moving_line(Eigen::Index frames, double noise, std::uint64_t seed, const Path& path) {
    LineHistory line;
    line.settings.sensor = {4e6, 1e6};
    line.settings.sampling_rate = 40e6;
    line.settings.frame_rate = 500;
    line.settings.sound_speed = 1540;
    line.grid = {line.settings.arrival(5e-3), 3.6e6, 94, 4e6};
    line.samples.setZero(frames, 94);
    line.usable.assign(static_cast<std::size_t>(frames), true);
    RandomStream random(seed, 0);
    for (double z = 5e-3; z < 25e-3; z += 0.1e-3) {
        const double real = random.normal();
        add_moving_echo(line, {real, random.normal()},
                        [&](Eigen::Index i) { return z + path(z, i); });
    }
    for (std::complex<double>& y : line.samples.reshaped()) {
        const double real = random.normal();
        y += noise * std::complex<double>(real, random.normal());
    }
    return line;
}

/// A pulse of 72 a minute, 0 to 1: up in 0.1 s, down exponentially.
inline double pulse_at(double time) {
    const double t = time - std::floor(time * 1.2) / 1.2;
    return t < 0.1 ? (1 - std::cos(std::numbers::pi * t / 0.1)) / 2 : std::exp(-(t - 0.1) / 0.25);
}

/// Tissue around an artery from 12 to 18 mm: up above it, down below it [part of the pulse].
inline double share_at(double depth) {
    return depth < 15e-3 ? -std::exp(-std::abs(depth - 12e-3) / 4e-3)
                         : std::exp(-std::abs(depth - 18e-3) / 4e-3);
}

}  // namespace echosieve::test
