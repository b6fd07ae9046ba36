// The scene of a synthetic recording: an artery in cross-section, tissue around it, and how all of
// it moves.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/artery_state.hpp"
#include "echosieve/synthesis/detail/attenuation.hpp"
#include "echosieve/synthesis/detail/gabor_echo.hpp"
#include "echosieve/synthesis/detail/pulse_wave.hpp"
#include "echosieve/synthesis/renderable_scene.hpp"
#include "echosieve/synthesis/scene_options.hpp"

namespace echosieve {

// Symbols (depths from the sensor, x along the sensor from above the artery's axis)
//   w(t)  pulse wave, 0 to 1;  B(t) breathing [m]
//   r_o   outer radius, z_c axis: see artery_state.hpp
// Tissue at distance r from the axis is pushed outwards by coupling (r_o - r_o at rest) r_o / r
// (plane incompressible flow), breathes with B (1 + gradient (z - centre)), and slips with slip t.
//
// The sensor is flat and wider than the artery: what lies beside the vessel arrives together with
// the walls. A wall is curved: pieces off the axis lie deeper (near wall) or shallower (far wall)
// and smear it.

/// One echo of the scene at one time: its depth, and what it is like there.
struct SceneEcho {
    double depth = 0;                ///< [m]
    std::complex<double> amplitude;  ///< in units of the outer layer's peak at rest
};

/// Draws the scatterers once, and says where each is at any time. The numbers come from the streams
/// below first_free_stream of the seed.
class Scene {
public:
    using Options = SceneOptions;
    static constexpr std::uint64_t first_free_stream = 2;

    /// Throws InvalidInput for options outside their domain.
    Scene(const SceneOptions& options, std::uint64_t seed)
        : options_(options),
          pulse_(checked(options).pulse, options.duration, RandomStream(seed, 0)) {
        RandomStream random(seed, 1);
        breathing_phase_ = random.uniform();
        if (options.artery) {
            draw_walls(random);
        }
        draw_tissue(random);
    }

    [[nodiscard]] const SceneOptions& options() const noexcept { return options_; }
    [[nodiscard]] const PulseWave& pulse() const noexcept { return pulse_; }
    [[nodiscard]] std::size_t echo_count() const noexcept {
        return pieces_.size() + tissue_.size();
    }

    [[nodiscard]] WallDepths walls(double time) const noexcept { return state(time).walls; }
    /// A Gaussian echo peaks where it arrives.
    [[nodiscard]] double peak_lag() const noexcept { return 0; }
    /// Calls use(SceneEcho) for each echo at `time` [s].
    template <class Use>
    void for_each_echo(double time, Use use) const {
        const detail::ArteryState now = state(time);
        for (const Piece& piece : pieces_) {
            const detail::WallCircle& wall = piece.side < 0 ? now.near_wall : now.far_wall;
            const double radius = piece.outer ? wall.outer : wall.inner;
            const double strength = piece.side < 0 ? now.near_strength : now.far_strength;
            use(SceneEcho{wall.centre + piece.side * radius * piece.cosine,
                          strength * piece.amplitude});
        }
        for (const Scatterer& s : tissue_) {
            const double z = s.depth - options_.centre_depth;
            const double square = s.offset * s.offset + z * z;
            const double push = options_.artery
                                    ? options_.coupling * (now.tissue_outer - rest_outer()) *
                                          rest_outer() * z / square
                                    : 0;
            const double breath = now.breathing * (1 + options_.breathing_gradient * z);
            const double own = detail::tissue_pulsation(options_, now, z) + now.sensor_shift;
            use(SceneEcho{s.depth + breath + push + options_.slip * time + own, s.amplitude});
        }
    }
    /// Adds the real echoes at `time` [s] to the samples of `frame`, which lie on `grid`.
    void add_echoes(double time, const SamplingGrid& grid, std::span<double> frame) const {
        for_each_echo(time, [&](const SceneEcho& echo) {
            const Gabor<double> atom{options_.settings.arrival(echo.depth),
                                     frequency_at(echo.depth), options_.settings.sensor.bandwidth};
            detail::render_echo({atom, echo.amplitude}, grid, frame);
        });
    }
    /// The sensor's frequency as heard from `depth` [m], see detail::attenuated_frequency [Hz].
    [[nodiscard]] double frequency_at(double depth) const noexcept {
        return detail::attenuated_frequency(options_.settings.sensor, options_.attenuation, depth);
    }

private:
    struct Piece {
        double side;  // -1 near, +1 far
        bool outer;
        double cosine;
        std::complex<double> amplitude;
    };
    struct Scatterer {
        double offset, depth;
        std::complex<double> amplitude;
    };

    static const SceneOptions& checked(const SceneOptions& options) {
        validate(options);
        return options;
    }
    [[nodiscard]] double rest_outer() const noexcept { return detail::rest_outer(options_); }
    [[nodiscard]] detail::ArteryState state(double time) const noexcept {
        const double breathing =
            options_.breathing / 2 *
            std::sin(2 * std::numbers::pi * (options_.breathing_rate * time + breathing_phase_));
        return detail::artery_state(options_, pulse_, breathing, time);
    }
    // A wall layer answers like a mirror that is not quite smooth: pieces at Gaussian angles, of
    // random strength.
    void draw_walls(RandomStream& random) {
        constexpr int pieces = 7;
        for (const double side : {-1.0, 1.0}) {
            for (const bool outer : {true, false}) {
                const double level = outer ? 1 : std::pow(10, options_.inner_layer_decibels / 20);
                const double phase = random.uniform();
                std::vector<Piece> layer;
                for (int k = 0; k < pieces; ++k) {
                    // The first piece is the axis itself, and the strongest.
                    const double angle = k == 0 ? 0 : options_.wall_spread * random.normal();
                    const double strength = k == 0 ? 1.5 : 0.5 + 0.5 * random.uniform();
                    layer.push_back({side, outer, std::cos(angle),
                                     std::polar(strength, 2 * std::numbers::pi * phase)});
                }
                const double scale = level / rest_peak(layer);
                for (Piece& piece : layer) {
                    piece.amplitude *= scale;
                    pieces_.push_back(piece);
                }
            }
        }
    }
    // Peak of the envelope of a layer's echo at rest: its pieces lie apart, so they interfere.
    [[nodiscard]] double rest_peak(const std::vector<Piece>& layer) const {
        const RecordingSettings& settings = options_.settings;
        const double radius = layer[0].outer ? rest_outer() : options_.diameter / 2;
        const double axis = options_.centre_depth + layer[0].side * radius;
        // The pieces' spread, and half a pulse more: where they cancel, the peak lies beside them.
        double spread = 0;
        for (const Piece& piece : layer) {
            spread = std::max(spread, radius * (1 - piece.cosine));
        }
        const double width = spread + settings.depth(0.5 / settings.sensor.bandwidth);
        // 64 steps a pulse: the peak is met to 1e-4.
        const double step = settings.depth(1 / (64 * settings.sensor.bandwidth));
        double peak = 0;
        for (double z = -width; z <= width; z += step) {
            const double time = settings.arrival(axis + z);
            std::complex<double> sum = 0;
            for (const Piece& piece : layer) {
                const double depth = options_.centre_depth + piece.side * radius * piece.cosine;
                const Gabor<double> atom{settings.arrival(depth), frequency_at(depth),
                                         settings.sensor.bandwidth};
                sum += piece.amplitude * value(atom, time);
            }
            peak = std::max(peak, std::abs(sum));
        }
        return peak;
    }
    void draw_tissue(RandomStream& random) {
        const double top = options_.settings.depth(options_.settings.start_time);
        const double width = 2 * options_.sensor_half_width;
        const auto count = static_cast<std::size_t>(
            std::lround(options_.scatterers_per_square * width * options_.depth_range));
        for (std::size_t k = 0; k < count; ++k) {
            const double offset = width * (random.uniform() - 0.5);
            const double depth = top + options_.depth_range * random.uniform();
            const std::complex<double> amplitude{random.normal(), random.normal()};
            const double z = depth - options_.centre_depth;
            const double outside = 1.05 * rest_outer();
            if (!options_.artery || offset * offset + z * z > outside * outside) {
                tissue_.push_back({offset, depth, amplitude});
            }
        }
        // Mean square of the sum of echoes of unit mean square, so many a metre of depth: rate *
        // pulse energy.
        const double per_metre = options_.scatterers_per_square * width;
        const double pulse_energy = std::sqrt(
            std::numbers::pi / (2 * decay_from_bandwidth(options_.settings.sensor.bandwidth)));
        const double metres = options_.settings.depth(pulse_energy);
        const double mean_square = 2 * per_metre * metres;
        const double scale = std::pow(10, options_.clutter_decibels / 20) / std::sqrt(mean_square);
        for (Scatterer& s : tissue_) {
            s.amplitude *= scale;
        }
    }

    SceneOptions options_;
    PulseWave pulse_;
    double breathing_phase_ = 0;
    std::vector<Piece> pieces_;
    std::vector<Scatterer> tissue_;
};

}  // namespace echosieve
