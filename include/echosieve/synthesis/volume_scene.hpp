// An artery in a volume of scatterers beneath a flat sensor, drawn once and moved in time.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/core/grid.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/artery_state.hpp"
#include "echosieve/synthesis/detail/flat_sensor.hpp"
#include "echosieve/synthesis/detail/gamma_echo_bank.hpp"
#include "echosieve/synthesis/detail/gamma_pulse.hpp"
#include "echosieve/synthesis/detail/pulse_wave.hpp"
#include "echosieve/synthesis/detail/volume_motion.hpp"
#include "echosieve/synthesis/renderable_scene.hpp"
#include "echosieve/synthesis/volume_scene_options.hpp"

namespace echosieve {

// Symbols (x across the vessel, y along it, z depth; the sensor's middle is the origin)
//   z_c(y) = centre + tilt y + curvature y^2 / 2     the vessel's axis, at x = lateral offset
//   r_i, r_o  inner and outer radius, see artery_state.hpp
//   r(q) = sqrt(r_i^2 + q (r_o^2 - r_i^2))           material radius, q = 0 inner, 1 outer layer:
//                                                    the media's scatterers move with the wall
//   phi    angle from the beam: near wall at z_c - r cos phi, far wall at z_c + r cos phi
//   facet's answer: exp(-(phi^2 + (z_c')^2) / (2 spread^2))
// Tissue moves by volume_motion.hpp, with breathing B (1 + gradient (z - centre)) and a pulsation
// of its own; B = breathing / 2 sin(a + 0.3 sin a), longer out than in.
//
// Every scatterer answers with a gamma pulse that begins when its echo arrives; see flat_sensor.hpp
// for where from. Its frequency is that of its layer of a millimetre at rest.

class VolumeScene {
public:
    using Options = VolumeSceneOptions;
    static constexpr std::uint64_t first_free_stream = 2;

    /// Throws InvalidInput for options outside their domain.
    VolumeScene(const VolumeSceneOptions& options, std::uint64_t seed)
        : options_(options),
          face_(checked(options).face()),
          pulse_(options.pulse, options.duration, RandomStream(seed, 0)) {
        RandomStream random(seed, 1);
        breathing_phase_ = random.uniform();
        draw_tissue(random);
        if (options_.artery) {
            draw_walls(random);
        }
        const auto by_layer = [](const auto& a, const auto& b) { return a.layer < b.layer; };
        std::ranges::stable_sort(tissue_, by_layer);
        std::ranges::stable_sort(facets_, by_layer);
    }

    [[nodiscard]] const VolumeSceneOptions& options() const noexcept { return options_; }
    [[nodiscard]] const PulseWave& pulse() const noexcept { return pulse_; }
    [[nodiscard]] std::size_t echo_count() const noexcept {
        return facets_.size() + tissue_.size();
    }
    [[nodiscard]] WallDepths walls(double time) const noexcept { return state(time).walls; }
    /// 2 tau: the envelope peaks so much below the depth that it arrives from [m].
    [[nodiscard]] double peak_lag() const noexcept {
        return options_.settings.depth(2 * gamma_decay_time(options_.settings.sensor.bandwidth));
    }
    /// The sensor's frequency as heard from `depth` [m], see detail::gamma_frequency [Hz].
    [[nodiscard]] double frequency_at(double depth) const noexcept {
        return detail::gamma_frequency(options_.settings.sensor, options_.attenuation, depth);
    }
    /// Adds the real echoes at `time` [s] to the samples of `frame`, which lie on `grid`.
    void add_echoes(double time, const SamplingGrid& grid, std::span<double> frame) const {
        const detail::ArteryState now = state(time);
        detail::GammaEchoBank bank(grid);
        auto scatterer = tissue_.begin();
        auto facet = facets_.begin();
        while (scatterer != tissue_.end() || facet != facets_.end()) {
            const int layer = facet == facets_.end() ? scatterer->layer
                              : scatterer == tissue_.end()
                                  ? facet->layer
                                  : std::min(scatterer->layer, facet->layer);
            bank.set_pulse(frequency_at((layer + 0.5) * layer_thickness),
                           options_.settings.sensor.bandwidth);
            for (; scatterer != tissue_.end() && scatterer->layer == layer; ++scatterer) {
                bank.put(options_.settings.arrival(distance(*scatterer, now)),
                         scatterer->amplitude);
            }
            for (; facet != facets_.end() && facet->layer == layer; ++facet) {
                const double strength = facet->side < 0 ? now.near_strength : now.far_strength;
                bank.put(options_.settings.arrival(distance(*facet, now)),
                         strength * facet->amplitude);
            }
            bank.move_to(frame);
        }
    }

private:
    static constexpr double layer_thickness = 1e-3;  // of one frequency [m]
    static constexpr int facets_per_layer = 120;
    static constexpr int media_per_wall = 120;

    struct Scatterer {
        int layer;
        double x, y, z;
        double below;  // the axis at its y, at rest
        detail::VesselResponse vessel;
        double breathing;  // share of it
        double amplitude;
    };
    struct Facet {
        int layer;
        double side;  // -1 near, +1 far
        double q, sine, cosine;
        double roughness;
        double y;
        double sag;  // z_c(y) - z_c(0)
        std::complex<double> amplitude;
    };

    static const VolumeSceneOptions& checked(const VolumeSceneOptions& options) {
        validate(options);
        return options;
    }
    [[nodiscard]] detail::ArteryState state(double time) const noexcept {
        const double a = 2 * std::numbers::pi * (options_.breathing_rate * time + breathing_phase_);
        const double breathing = options_.breathing / 2 * std::sin(a + 0.3 * std::sin(a));
        return detail::artery_state(options_, pulse_, breathing, time);
    }
    [[nodiscard]] double sag(double y) const noexcept {
        return options_.tilt * y + options_.curvature * y * y / 2;
    }
    [[nodiscard]] int layer_of(double distance) const noexcept {
        return static_cast<int>(distance / layer_thickness);
    }

    [[nodiscard]] double distance(const Scatterer& s,
                                  const detail::ArteryState& now) const noexcept {
        const double push = now.tissue_outer - detail::rest_outer(options_);
        const double shift = (0.5 - options_.near_share) * options_.distension * now.tissue_wave;
        const double x = s.x + s.vessel.push_x * push + s.vessel.shift_x * shift;
        const double z = s.z + s.vessel.push_z * push + s.vessel.shift_z * shift +
                         s.breathing * now.breathing + now.sensor_shift +
                         detail::tissue_pulsation(options_, now, s.below);
        return face_.distance(x, s.y, z);
    }
    [[nodiscard]] double distance(const Facet& f, const detail::ArteryState& now) const noexcept {
        const detail::WallCircle& wall = f.side < 0 ? now.near_wall : now.far_wall;
        const double square = wall.inner * wall.inner;
        const double radius =
            std::sqrt(square + f.q * (wall.outer * wall.outer - square)) + f.roughness;
        return face_.distance(options_.lateral_offset + radius * f.sine, f.y,
                              wall.centre + f.sag + f.side * radius * f.cosine);
    }
    [[nodiscard]] detail::ArteryState rest() const noexcept {
        detail::ArteryState at_rest;
        at_rest.near_wall = detail::wall_circle(options_, 0, 0, 0);
        at_rest.far_wall = at_rest.near_wall;
        at_rest.tissue_outer = at_rest.near_wall.outer;
        return at_rest;
    }

    void draw_tissue(RandomStream& random) {
        const RecordingSettings& settings = options_.settings;
        const double top = settings.depth(settings.start_time);
        // Pulses that began above the first sample reach into the frame.
        const double tail = settings.depth(8 * gamma_decay_time(settings.sensor.bandwidth));
        const double from = std::max(0.0, top - tail);
        const double to = top + options_.depth_range;
        const double width = options_.sensor_half_width + options_.margin;
        const double length = options_.sensor_half_length + options_.margin;
        const auto count = static_cast<std::size_t>(
            std::lround(options_.scatterers_per_volume * 4 * width * length * (to - from)));
        const double outer = detail::rest_outer(options_);
        double squares = 0;
        for (std::size_t k = 0; k < count; ++k) {
            const double x = random.uniform(-width, width);
            const double y = random.uniform(-length, length);
            const double z = random.uniform(from, to);
            const double weight = face_.weight(x, y);
            const double amplitude = weight * random.normal();
            squares += weight * weight;
            const double across = x - options_.lateral_offset;
            const double below = z - options_.centre_depth - sag(y);
            const double outside = 1.05 * outer;
            if (options_.artery && across * across + below * below <= outside * outside) {
                continue;
            }
            Scatterer s{layer_of(face_.distance(x, y, z)), x, y, z, below, {}, 0, amplitude};
            s.breathing = 1 + options_.breathing_gradient * (z - options_.centre_depth);
            if (options_.artery) {
                s.vessel = detail::vessel_response(across, below, outer, options_.coupling);
            }
            tissue_.push_back(s);
        }
        // Mean square of the envelope of a sum of echoes of unit mean square, so many a metre.
        const double metres = settings.depth(gamma_energy(settings.sensor.bandwidth));
        const double mean_square = squares / (to - from) * metres;
        const double scale = std::pow(10, options_.clutter_decibels / 20) / std::sqrt(mean_square);
        for (Scatterer& s : tissue_) {
            s.amplitude *= scale;
        }
    }

    [[nodiscard]] Facet draw_facet(double side, double q, double angle,
                                   RandomStream& random) const {
        Facet f{};
        f.side = side;
        f.q = q;
        f.sine = std::sin(angle);
        f.cosine = std::cos(angle);
        f.roughness = options_.wall_roughness * random.normal();
        f.y = options_.sensor_half_length * random.uniform(-1.0, 1.0);
        f.sag = sag(f.y);
        f.layer = layer_of(distance(f, rest()));
        const double radius = std::sqrt(q) * detail::rest_outer(options_);
        f.amplitude = face_.weight(options_.lateral_offset + radius * f.sine, f.y);
        return f;
    }
    void draw_walls(RandomStream& random) {
        const double spread = std::max(options_.wall_spread, 1e-9);
        for (const double side : {-1.0, 1.0}) {
            for (const double q : {1.0, 0.0}) {
                const double level = q > 0 ? 1 : std::pow(10, options_.inner_layer_decibels / 20);
                const double phase = random.uniform();
                std::vector<Facet> layer;
                for (int k = 0; k < facets_per_layer; ++k) {
                    const double angle = 3 * spread * random.uniform(-1.0, 1.0);
                    const double strength = random.uniform(0.5, 1.5);
                    Facet f = draw_facet(side, q, angle, random);
                    const double slope = options_.tilt + options_.curvature * f.y;
                    f.amplitude *=
                        strength *
                        std::exp(-(angle * angle + slope * slope) / (2 * spread * spread)) *
                        unit_phasor(phase);
                    layer.push_back(f);
                }
                const double scale = level / rest_peak(layer);
                for (Facet& f : layer) {
                    f.amplitude *= scale;
                    facets_.push_back(f);
                }
            }
            draw_media(side, random);
        }
    }
    void draw_media(double side, RandomStream& random) {
        const double widest = 4 * options_.wall_spread;
        std::vector<Facet> media;
        double squares = 0;
        for (int k = 0; k < media_per_wall; ++k) {
            const double q = random.uniform();
            Facet f = draw_facet(side, q, widest * random.uniform(-1.0, 1.0), random);
            squares += std::norm(f.amplitude);
            f.amplitude *= random.normal();
            media.push_back(f);
        }
        // As the tissue's level; the wall's curvature spreads them over more than its thickness.
        const double spread =
            options_.wall_thickness + detail::rest_outer(options_) * (1 - std::cos(widest));
        const double metres =
            options_.settings.depth(gamma_energy(options_.settings.sensor.bandwidth));
        const double scale =
            std::pow(10, options_.media_decibels / 20) / std::sqrt(squares / spread * metres);
        for (Facet& f : media) {
            f.amplitude *= scale;
            facets_.push_back(f);
        }
    }
    // Peak of the envelope of a layer's echo at rest: its facets lie apart, so they interfere.
    [[nodiscard]] double rest_peak(const std::vector<Facet>& layer) const {
        const RecordingSettings& settings = options_.settings;
        const detail::ArteryState at_rest = rest();
        std::vector<double> distances;
        for (const Facet& f : layer) {
            distances.push_back(distance(f, at_rest));
        }
        const auto [least, largest] = std::ranges::minmax(distances);
        // 64 steps a pulse, to half a pulse behind the last facet's peak.
        const double step = settings.depth(1 / (64 * settings.sensor.bandwidth));
        const double end = largest + peak_lag() + settings.depth(0.5 / settings.sensor.bandwidth);
        double peak = 0;
        for (double z = least; z <= end; z += step) {
            std::complex<double> sum = 0;
            for (std::size_t k = 0; k < layer.size(); ++k) {
                const GammaPulse pulse{settings.arrival(distances[k]),
                                       frequency_at((layer[k].layer + 0.5) * layer_thickness),
                                       settings.sensor.bandwidth};
                sum += layer[k].amplitude * value(pulse, settings.arrival(z));
            }
            peak = std::max(peak, std::abs(sum));
        }
        return peak;
    }

    VolumeSceneOptions options_;
    FlatSensor face_;
    PulseWave pulse_;
    double breathing_phase_ = 0;
    std::vector<Scatterer> tissue_;
    std::vector<Facet> facets_;
};

}  // namespace echosieve
