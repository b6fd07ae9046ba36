// The scene of a synthetic recording: an artery in cross-section, tissue around it, and how all of
// it moves.
#pragma once

#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <vector>

#include "echosieve/atoms/bandwidth.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/pulse_wave.hpp"

namespace echosieve {

// Symbols (depths from the sensor, x along the sensor from above the artery's axis)
//   w(t) pulse wave, 0 to 1;  B(t) breathing [m]
//   r_i = D / 2 + distension w / 2 inner radius;  r_o = sqrt(r_i^2 + C) outer radius: the wall is
//   incompressible, so it thins as it stretches, and the outer layer moves less than the inner z_c
//   = centre + B + (1/2 - near_share) distension w: the walls share the distension unevenly Tissue
//   at distance r from the axis is pushed outwards by coupling (r_o - r_o at rest) r_o / r (plane
//   incompressible flow), and breathes with B (1 + gradient (z - centre)).
//
// The sensor is flat and wider than the artery: what lies beside the vessel arrives together with
// the walls. A wall is curved: pieces off the axis lie deeper (near wall) or shallower (far wall)
// and smear it.

struct SceneOptions {
    RecordingSettings settings{.sampling_rate = 125e6,
                               .frame_rate = 1000,
                               .start_time = 2 * 5e-3 / 1540,
                               .sensor = {.centre_frequency = 4e6, .bandwidth = 1e6},
                               .sound_speed = 1540};
    double duration = 3;               ///< [s]
    double depth_range = 17e-3;        ///< recorded, from start_time on [m]
    double centre_depth = 13.2e-3;     ///< of the artery's axis, at rest [m]
    double diameter = 6.2e-3;          ///< inner, at the end of diastole [m]
    double wall_thickness = 0.65e-3;   ///< inner to outer layer, at the end of diastole [m]
    double distension = 0.45e-3;       ///< of the inner diameter [m]
    double near_share = 0.4;           ///< of the distension that the near wall takes
    double inner_layer_decibels = -5;  ///< echo of the inner layer under the outer's
    double wall_spread =
        0.12;  ///< standard deviation of the angle under which wall pieces answer [rad]
    double clutter_decibels =
        -6;                    ///< rms envelope of the tissue's echoes over the outer layer's peak
    double snr_decibels = 20;  ///< outer layer's peak over the rms noise of a raw sample
    double sensor_half_width = 6e-3;     ///< [m]
    double scatterers_per_square = 4e6;  ///< tissue scatterers over the cross-section [1/m^2]
    double coupling = 0.5;               ///< of the tissue to the vessel's pulse, 0 to 1
    double breathing = 0.3e-3;           ///< peak to peak [m]
    double breathing_rate = 0.23;        ///< [Hz]
    double breathing_gradient = 8;       ///< of the breathing over depth [1/m]
    double attenuation = 0.5;  ///< [dB/cm/MHz], one way; the gain over depth makes up for its loss
    double ring_down_decibels =
        12;  ///< of the sensor's ring-down over the outer layer, at the first sample
    double ring_down_length = 0.5e-3;  ///< over which it falls by a factor e [m]
    PulseWaveOptions pulse;
};

inline void validate(const SceneOptions& options) {
    validate(options.settings);
    validate(options.pulse);
    const auto positive = [](double x, const char* name, const char* unit) {
        require(x > 0 && is_finite(x), name, x,
                detail::concatenate("must be positive and finite ", unit));
    };
    const auto finite = [](double x, const char* name, const char* unit) {
        require(is_finite(x), name, x, detail::concatenate("must be finite ", unit));
    };
    positive(options.duration, "duration", "[s]");
    positive(options.depth_range, "depth_range", "[m]");
    positive(options.diameter, "diameter", "[m]");
    positive(options.wall_thickness, "wall_thickness", "[m]");
    positive(options.wall_spread, "wall_spread", "[rad]");
    positive(options.sensor_half_width, "sensor_half_width", "[m]");
    positive(options.ring_down_length, "ring_down_length", "[m]");
    finite(options.inner_layer_decibels, "inner_layer_decibels", "[dB]");
    finite(options.clutter_decibels, "clutter_decibels", "[dB]");
    finite(options.snr_decibels, "snr_decibels", "[dB]");
    finite(options.ring_down_decibels, "ring_down_decibels", "[dB]");
    finite(options.breathing, "breathing", "[m]");
    finite(options.breathing_gradient, "breathing_gradient", "[1/m]");
    require(options.distension >= 0 && options.distension < options.diameter, "distension",
            options.distension, "must be zero or more and below the diameter [m]");
    require(options.near_share >= 0 && options.near_share <= 1, "near_share", options.near_share,
            "must lie in [0, 1]");
    require(options.coupling >= 0 && options.coupling <= 1, "coupling", options.coupling,
            "must lie in [0, 1]");
    require(options.breathing_rate >= 0, "breathing_rate", options.breathing_rate,
            "must be zero or more [Hz]");
    require(options.attenuation >= 0 && options.attenuation <= 5, "attenuation",
            options.attenuation, "must lie in [0, 5] [dB/cm/MHz]");
    require(options.scatterers_per_square >= 0 && options.scatterers_per_square <= 1e9,
            "scatterers_per_square", options.scatterers_per_square, "must lie in [0, 1e9] [1/m^2]");
    const double top = options.settings.depth(options.settings.start_time);
    const double outer = options.diameter / 2 + options.wall_thickness;
    require(options.centre_depth - outer > top &&
                options.centre_depth + outer < top + options.depth_range,
            "centre_depth", options.centre_depth,
            detail::concatenate("both walls must lie within the recorded depths, ", top, " to ",
                                top + options.depth_range, " [m]"));
}

/// Depths at one time [m].
struct WallDepths {
    double near_inner = 0;
    double near_outer = 0;
    double far_inner = 0;
    double far_outer = 0;
};

/// One echo of the scene at one time: its depth, and what it is like there.
struct SceneEcho {
    double depth = 0;                ///< [m]
    std::complex<double> amplitude;  ///< in units of the outer layer's peak
};

/// Draws the scatterers once, and says where each is at any time.
class Scene {
public:
    /// Throws InvalidInput for options outside their domain.
    Scene(const SceneOptions& options, std::uint64_t seed)
        : options_(options),
          pulse_(checked(options).pulse, options.duration, RandomStream(seed, 0)) {
        RandomStream random(seed, 1);
        breathing_phase_ = random.uniform();
        draw_walls(random);
        draw_tissue(random);
    }

    [[nodiscard]] const SceneOptions& options() const noexcept { return options_; }
    [[nodiscard]] const PulseWave& pulse() const noexcept { return pulse_; }
    [[nodiscard]] std::size_t echo_count() const noexcept {
        return pieces_.size() + tissue_.size();
    }

    [[nodiscard]] WallDepths walls(double time) const noexcept {
        const Geometry g = geometry(time);
        return {g.centre - g.inner, g.centre - g.outer, g.centre + g.inner, g.centre + g.outer};
    }
    /// Calls use(SceneEcho) for each echo at `time` [s].
    template <class Use>
    void for_each_echo(double time, Use use) const {
        const Geometry g = geometry(time);
        for (const Piece& piece : pieces_) {
            const double radius = piece.outer ? g.outer : g.inner;
            use(SceneEcho{g.centre + piece.side * radius * piece.cosine, piece.amplitude});
        }
        for (const Scatterer& s : tissue_) {
            const double z = s.depth - options_.centre_depth;
            const double square = s.offset * s.offset + z * z;
            const double push =
                options_.coupling * (g.outer - rest_outer()) * rest_outer() * z / square;
            const double breath = g.breathing * (1 + options_.breathing_gradient * z);
            use(SceneEcho{s.depth + breath + push, s.amplitude});
        }
    }
    /// The sensor's frequency as heard from `depth`: f0 - g sigma_f^2, g the loss per frequency, in
    /// nepers (Kuc and Schwartz 1979, from memory): attenuation that grows with frequency shifts a
    /// Gaussian band down.
    [[nodiscard]] double frequency_at(double depth) const noexcept {
        const Sensor& sensor = options_.settings.sensor;
        const double nepers_per_hertz = options_.attenuation * 2 * depth * 100 / 8.685889638 * 1e-6;
        const double sigma_square =
            decay_from_bandwidth(sensor.bandwidth) / (2 * std::numbers::pi * std::numbers::pi);
        return sensor.centre_frequency - nepers_per_hertz * sigma_square;
    }

private:
    struct Geometry {
        double centre, inner, outer, breathing;
    };
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
    [[nodiscard]] double rest_outer() const noexcept {
        return options_.diameter / 2 + options_.wall_thickness;
    }

    [[nodiscard]] Geometry geometry(double time) const noexcept {
        const double w = pulse_(time);
        const double rest = options_.diameter / 2;
        const double inner = rest + options_.distension * w / 2;
        const double outer = std::sqrt(inner * inner + rest_outer() * rest_outer() - rest * rest);
        const double breathing =
            options_.breathing / 2 *
            std::sin(2 * std::numbers::pi * (options_.breathing_rate * time + breathing_phase_));
        const double centre = options_.centre_depth + breathing +
                              (0.5 - options_.near_share) * options_.distension * w;
        return {centre, inner, outer, breathing};
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
                double sum = 0;
                for (int k = 0; k < pieces; ++k) {
                    // The first piece is the axis itself, and the strongest.
                    const double angle = k == 0 ? 0 : options_.wall_spread * random.normal();
                    const double strength = k == 0 ? 1.5 : 0.5 + 0.5 * random.uniform();
                    sum += strength;
                    layer.push_back({side, outer, std::cos(angle),
                                     std::polar(strength, 2 * std::numbers::pi * phase)});
                }
                for (Piece& piece : layer) {
                    piece.amplitude *= level / sum;
                    pieces_.push_back(piece);
                }
            }
        }
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
            if (offset * offset + z * z > outside * outside) {
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
