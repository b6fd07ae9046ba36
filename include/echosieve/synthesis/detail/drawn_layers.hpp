// What a layered line holds, drawn once: layers of the walls with rhythms of their own, a plaque,
// tissue whose echoes change, a vein's layers.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/synthesis/detail/layered_motion.hpp"
#include "echosieve/synthesis/detail/skewed_pulse.hpp"

namespace echosieve::detail {

// Symbols
//   phi  beats counted;  f_b breathing rate;  f_s a slow rate of the echo's own [Hz]
//   g = sum over k = 1 .. 3 of c_k sin(2 pi (k phi + p_k)) + c_4 sin(2 pi (f_b t + p_4))
//       + c_5 sin(2 pi (f_s t + p_5)),  sum of c^2 = 2: of mean square 1,
//   half of it from the beat, a quarter each from breathing and the slow rhythm
//   strength: 1 + change g
//   over all rhythms, phases even and independent, E[c_k^2] = e_k:
//   E[g(1) g(2)] = (1 / 2) sum e_k cos(2 pi k (phi_1 - phi_2)) + (1 / 4) cos(2 pi f_b (t_1 - t_2))
//                  + (1 / 4) E[cos(2 pi f_s (t_1 - t_2))]
//   with c_k = (n_k / k) / sqrt(sum n_j^2 / j^2), n normal, l_k = 1 / k^2,
//   e_k = integral over u > 0 of l_k / (1 + 2 l_k u) prod (1 + 2 l_j u)^(-1 / 2)   (derived here)
// A tissue echo's amplitude is a complex process of mean square 1 and correlation exp(-rate |t|):
// drawn anew at knots, a_k+1 = rho a_k + sqrt(1 - rho^2) n, and between them a weighted mean of
// both, divided by its own standard deviation. All numbers are plausible, not fitted to anything
// (common practice, no source).

/// A smooth random function of the beat, of breathing and of time, of mean 0 and mean square 1.
class EchoRhythm {
public:
    explicit EchoRhythm(RandomStream& random) {
        double square = 0;
        for (std::size_t k = 0; k < beat_harmonics; ++k) {
            sizes_[k] = random.normal() / static_cast<double>(k + 1);
            square += sizes_[k] * sizes_[k];
        }
        for (std::size_t k = 0; k < beat_harmonics; ++k) {
            sizes_[k] /= std::sqrt(square);  // c^2 sum to 1: a mean square of a half
        }
        for (double& phase : phases_) {
            phase = random.uniform();
        }
        slow_rate_ = random.uniform(slowest, fastest);
    }
    [[nodiscard]] double operator()(const LayeredState& now, double breathing_rate) const noexcept {
        const auto wave = [](double turns) { return std::sin(2 * std::numbers::pi * turns); };
        double sum = 0;
        for (std::size_t k = 0; k < beat_harmonics; ++k) {
            sum += sizes_[k] * wave(static_cast<double>(k + 1) * now.beats + phases_[k]);
        }
        return sum + std::numbers::sqrt2 / 2 *
                         (wave(breathing_rate * now.time + phases_[beat_harmonics]) +
                          wave(slow_rate_ * now.time + phases_[beat_harmonics + 1]));
    }
    /// Of g at two times that differ by `beats` and `time` [s], over all rhythms: 1 at none.
    [[nodiscard]] static double covariance(double beats, double time,
                                           double breathing_rate) noexcept {
        using std::numbers::pi;
        constexpr std::array<double, beat_harmonics> squares{0.57654526, 0.26715404, 0.15630070};
        const double least = 1e-9;  // of an angle [rad]: below it a sine is the angle
        double sum = 0;
        for (std::size_t k = 0; k < beat_harmonics; ++k) {
            sum += squares[k] / 2 * std::cos(2 * pi * static_cast<double>(k + 1) * beats);
        }
        const double spread = pi * (fastest - slowest) * time;
        const double sinc = std::abs(spread) < least ? 1 : std::sin(spread) / spread;
        return sum + (std::cos(2 * pi * breathing_rate * time) +
                      std::cos(pi * (fastest + slowest) * time) * sinc) /
                         4;
    }

private:
    static constexpr std::size_t beat_harmonics = 3;
    static constexpr double slowest = 0.05;  // [Hz]
    static constexpr double fastest = 0.2;   // [Hz]

    std::array<double, beat_harmonics> sizes_{};
    std::array<double, beat_harmonics + 2> phases_{};
    double slow_rate_ = 0;
};

/// A layer of a wall, or an echo within a plaque.
struct WallLayer {
    int side;     // -1 near, +1 far
    double rest;  // radius at rest [m]
    std::complex<double> amplitude;
    EchoRhythm rhythm;
};

inline constexpr int plaque_echoes = 5;
inline constexpr double least_middle = 0.4;  // of a middle layer's echo, over that of its level

/// The layers of both walls, the outer one first, then the inner one, then those between.
template <class Options>
[[nodiscard]] std::vector<WallLayer> draw_wall_layers(const Options& options,
                                                      RandomStream& random) {
    std::vector<WallLayer> layers;
    const double inner = options.diameter / 2;
    const auto add = [&](int side, double rest, double size) {
        const double phase = random.uniform();
        layers.push_back(
            {side, rest, std::polar(size, 2 * std::numbers::pi * phase), EchoRhythm(random)});
    };
    for (const int side : {-1, 1}) {
        add(side, inner + options.wall_thickness, 1);
        add(side, inner, std::pow(10, options.inner_layer_decibels / 20));
        const double middle = std::pow(10, options.middle_layer_decibels / 20);
        const int between = options.sub_layers - 2;
        for (int k = 0; k < between; ++k) {
            const double place = (k + random.uniform()) / between;
            const double size = random.uniform(least_middle, 1.0);
            add(side, inner + options.wall_thickness * place, middle * size);
        }
        for (int k = 0; options.plaque == side && k < plaque_echoes; ++k) {
            const double place = (k + random.uniform()) / plaque_echoes;
            add(side, inner - options.plaque_thickness * place,
                std::pow(10, options.plaque_decibels / 20));
        }
    }
    return layers;
}

/// Echoes of tissue, whose amplitudes change over time.
class DrawnTissue {
public:
    template <class Options>
    DrawnTissue(const Options& options, const SkewedEnvelope& envelope, RandomStream random)
        : spacing_(knot_correlation_loss / std::max(options.decorrelation, slowest)),
          correlation_(std::exp(-spacing_ * options.decorrelation)),
          knots_(options.decorrelation == 0
                     ? 1
                     : static_cast<std::size_t>(options.duration / spacing_) + 2) {
        const double top = options.settings.depth(options.settings.start_time);
        const auto count = static_cast<std::size_t>(
            std::lround(options.scatterers_per_metre * options.depth_range));
        // Mean square envelope of so many echoes of mean square 1.
        const double metres = options.settings.depth(
            envelope.energy() * envelope.length(options.settings.sensor.bandwidth));
        const double scale = std::pow(10, options.clutter_decibels / 20) /
                             std::sqrt(std::max(options.scatterers_per_metre * metres, 1e-300));
        for (std::size_t k = 0; k < count; ++k) {
            const double depth = top + options.depth_range * random.uniform();
            if (!options.clear_at(depth)) {
                depths_.push_back(depth);
                draw_course(scale, random);
            }
        }
    }

    [[nodiscard]] const std::vector<double>& depths() const noexcept { return depths_; }
    /// Of echo k at `time` [s].
    [[nodiscard]] std::complex<double> amplitude(std::size_t k, double time) const noexcept {
        const std::complex<double>* knots = &amplitudes_[k * knots_];
        if (knots_ == 1) {
            return knots[0];
        }
        const double at = std::clamp(time / spacing_, 0.0, static_cast<double>(knots_ - 1));
        const std::size_t first = std::min(static_cast<std::size_t>(at), knots_ - 2);
        const double x = at - static_cast<double>(first);
        const double square = 1 - 2 * x * (1 - x) * (1 - correlation_);
        return ((1 - x) * knots[first] + x * knots[first + 1]) / std::sqrt(square);
    }

private:
    // From knot to knot a correlation of exp(-0.1): the mean between strays by 0.003 from it.
    static constexpr double knot_correlation_loss = 0.1;
    static constexpr double slowest = 1e-6;  // [1/s]

    void draw_course(double scale, RandomStream& random) {
        const auto drawn = [&] {
            const double real = random.normal();
            return scale * std::numbers::sqrt2 / 2 * std::complex<double>{real, random.normal()};
        };
        const double fresh = std::sqrt(1 - correlation_ * correlation_);
        std::complex<double> now = drawn();
        for (std::size_t knot = 0; knot < knots_; ++knot) {
            amplitudes_.push_back(now);
            if (knot + 1 < knots_) {
                now = correlation_ * now + fresh * drawn();
            }
        }
    }

    double spacing_;  // of the knots [s]
    double correlation_;
    std::size_t knots_;
    std::vector<double> depths_;  // at rest [m]
    std::vector<std::complex<double>> amplitudes_;
};

/// A slow random function of time, of mean 0 and mean square 1, never above 2.5: the receiver's
/// gain.
class SlowWander {
public:
    explicit SlowWander(RandomStream random) {
        for (std::size_t k = 0; k < waves; ++k) {
            rates_[k] = slowest * std::pow(fastest / slowest, random.uniform());
            phases_[k] = random.uniform();
        }
    }
    [[nodiscard]] double operator()(double time) const noexcept {
        double sum = 0;
        for (std::size_t k = 0; k < waves; ++k) {
            sum += std::sin(2 * std::numbers::pi * (rates_[k] * time + phases_[k]));
        }
        return std::sqrt(2.0 / waves) * sum;
    }

private:
    static constexpr std::size_t waves = 3;
    static constexpr double slowest = 0.05;  // [Hz]
    static constexpr double fastest = 0.7;   // [Hz]

    std::array<double, waves> rates_{};
    std::array<double, waves> phases_{};
};

}  // namespace echosieve::detail
