// What lies in a volume, drawn once: scatterers of tissue, and facets and scatterers of the
// artery's walls.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/artery_state.hpp"
#include "echosieve/synthesis/detail/flat_sensor.hpp"
#include "echosieve/synthesis/detail/gamma_pulse.hpp"
#include "echosieve/synthesis/detail/line_streams.hpp"
#include "echosieve/synthesis/detail/volume_motion.hpp"

namespace echosieve::detail {

inline constexpr double layer_thickness = 1e-3;  // of one frequency [m]
inline constexpr int facets_per_layer = 120;
inline constexpr int media_per_wall = 120;

struct VolumeScatterer {
    int layer;
    double x, y, z;
    double below;  // the axis at its y, at rest
    VesselResponse vessel;
    double breathing;  // share of it
    double amplitude;
};
struct WallFacet {
    int layer;
    double side;  // -1 near, +1 far
    double q, sine, cosine;
    double roughness;
    double y;
    double sag;  // z_c(y) - z_c(0)
    std::complex<double> amplitude;
};

/// Where all of it is at any time: Options those of VolumeScene, whose symbols these are.
template <class Options>
class DrawnVolume {
public:
    DrawnVolume(const Options& options, std::uint64_t seed)
        : options_(options), face_(options.face()) {
        RandomStream common(seed, 1);
        breathing_phase_ = common.uniform();
        RandomStream random = own_numbers(seed, options.line, 1, common);
        draw_tissue(random);
        if (options_.artery) {
            draw_walls(random);
        }
        const auto by_layer = [](const auto& a, const auto& b) { return a.layer < b.layer; };
        std::ranges::stable_sort(tissue_, by_layer);
        std::ranges::stable_sort(facets_, by_layer);
    }

    [[nodiscard]] const Options& options() const noexcept { return options_; }
    [[nodiscard]] double breathing_phase() const noexcept { return breathing_phase_; }
    /// By layer of frequency, the top one first.
    [[nodiscard]] const std::vector<VolumeScatterer>& tissue() const noexcept { return tissue_; }
    [[nodiscard]] const std::vector<WallFacet>& facets() const noexcept { return facets_; }

    /// From the sensor [m].
    [[nodiscard]] double distance(const VolumeScatterer& s, const ArteryState& now) const noexcept {
        const double push = now.tissue_outer - rest_outer(options_);
        const double shift = (0.5 - options_.near_share) * options_.distension * now.tissue_wave;
        const double x = s.x + s.vessel.push_x * push + s.vessel.shift_x * shift;
        const double z = s.z + s.vessel.push_z * push + s.vessel.shift_z * shift +
                         s.breathing * now.breathing + now.sensor_shift +
                         tissue_pulsation(options_, now, s.below);
        return face_.distance(x, s.y, z);
    }
    [[nodiscard]] double distance(const WallFacet& f, const ArteryState& now) const noexcept {
        const WallCircle& wall = f.side < 0 ? now.near_wall : now.far_wall;
        const double square = wall.inner * wall.inner;
        const double radius =
            std::sqrt(square + f.q * (wall.outer * wall.outer - square)) + f.roughness;
        return face_.distance(options_.lateral_offset + radius * f.sine, f.y,
                              wall.centre + f.sag + f.side * radius * f.cosine);
    }

private:
    [[nodiscard]] double sag(double y) const noexcept {
        return options_.tilt * y + options_.curvature * y * y / 2;
    }
    [[nodiscard]] int layer_of(double distance) const noexcept {
        return static_cast<int>(distance / layer_thickness);
    }

    [[nodiscard]] ArteryState rest() const noexcept {
        ArteryState at_rest;
        at_rest.near_wall = wall_circle(options_, 0, 0, 0);
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
        const double outer = rest_outer(options_);
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
            VolumeScatterer s{layer_of(face_.distance(x, y, z)), x, y, z, below, {}, 0, amplitude};
            s.breathing = 1 + options_.breathing_gradient * (z - options_.centre_depth);
            if (options_.artery) {
                s.vessel = vessel_response(across, below, outer, options_.coupling);
            }
            tissue_.push_back(s);
        }
        // Mean square of the envelope of a sum of echoes of unit mean square, so many a metre.
        const double metres = settings.depth(gamma_energy(settings.sensor.bandwidth));
        const double mean_square = squares / (to - from) * metres;
        const double scale = std::pow(10, options_.clutter_decibels / 20) / std::sqrt(mean_square);
        for (VolumeScatterer& s : tissue_) {
            s.amplitude *= scale;
        }
    }

    [[nodiscard]] WallFacet draw_facet(double side, double q, double angle,
                                       RandomStream& random) const {
        WallFacet f{};
        f.side = side;
        f.q = q;
        f.sine = std::sin(angle);
        f.cosine = std::cos(angle);
        f.roughness = options_.wall_roughness * random.normal();
        f.y = options_.sensor_half_length * random.uniform(-1.0, 1.0);
        f.sag = sag(f.y);
        f.layer = layer_of(distance(f, rest()));
        const double radius = std::sqrt(q) * rest_outer(options_);
        f.amplitude = face_.weight(options_.lateral_offset + radius * f.sine, f.y);
        return f;
    }
    void draw_walls(RandomStream& random) {
        const double spread = std::max(options_.wall_spread, 1e-9);
        for (const double side : {-1.0, 1.0}) {
            for (const double q : {1.0, 0.0}) {
                const double level = q > 0 ? 1 : std::pow(10, options_.inner_layer_decibels / 20);
                const double phase = random.uniform();
                std::vector<WallFacet> layer;
                for (int k = 0; k < facets_per_layer; ++k) {
                    const double angle = 3 * spread * random.uniform(-1.0, 1.0);
                    const double strength = random.uniform(0.5, 1.5);
                    WallFacet f = draw_facet(side, q, angle, random);
                    const double slope = options_.tilt + options_.curvature * f.y;
                    f.amplitude *=
                        strength *
                        std::exp(-(angle * angle + slope * slope) / (2 * spread * spread)) *
                        unit_phasor(phase);
                    layer.push_back(f);
                }
                const double scale = level / rest_peak(layer);
                for (WallFacet& f : layer) {
                    f.amplitude *= scale;
                    facets_.push_back(f);
                }
            }
            draw_media(side, random);
        }
    }
    void draw_media(double side, RandomStream& random) {
        const double widest = 4 * options_.wall_spread;
        std::vector<WallFacet> media;
        double squares = 0;
        for (int k = 0; k < media_per_wall; ++k) {
            const double q = random.uniform();
            WallFacet f = draw_facet(side, q, widest * random.uniform(-1.0, 1.0), random);
            squares += std::norm(f.amplitude);
            f.amplitude *= random.normal();
            media.push_back(f);
        }
        // As the tissue's level; the wall's curvature spreads them over more than its thickness.
        const double spread =
            options_.wall_thickness + rest_outer(options_) * (1 - std::cos(widest));
        const double metres =
            options_.settings.depth(gamma_energy(options_.settings.sensor.bandwidth));
        const double scale =
            std::pow(10, options_.media_decibels / 20) / std::sqrt(squares / spread * metres);
        for (WallFacet& f : media) {
            f.amplitude *= scale;
            facets_.push_back(f);
        }
    }
    // Peak of the envelope of a layer's echo at rest: its facets lie apart, so they interfere.
    [[nodiscard]] double rest_peak(const std::vector<WallFacet>& layer) const {
        const RecordingSettings& settings = options_.settings;
        const ArteryState at_rest = rest();
        std::vector<double> distances;
        for (const WallFacet& f : layer) {
            distances.push_back(distance(f, at_rest));
        }
        const auto [least, largest] = std::ranges::minmax(distances);
        // 64 steps a pulse, to half a pulse behind the last facet's peak.
        const double step = settings.depth(1 / (64 * settings.sensor.bandwidth));
        const double peak_lag = settings.depth(2 * gamma_decay_time(settings.sensor.bandwidth));
        const double end = largest + peak_lag + settings.depth(0.5 / settings.sensor.bandwidth);
        double peak = 0;
        for (double z = least; z <= end; z += step) {
            std::complex<double> sum = 0;
            for (std::size_t k = 0; k < layer.size(); ++k) {
                const GammaPulse pulse{settings.arrival(distances[k]),
                                       gamma_frequency(settings.sensor, options_.attenuation,
                                                       (layer[k].layer + 0.5) * layer_thickness),
                                       settings.sensor.bandwidth};
                sum += layer[k].amplitude * value(pulse, settings.arrival(z));
            }
            peak = std::max(peak, std::abs(sum));
        }
        return peak;
    }

    Options options_;
    FlatSensor face_;
    double breathing_phase_ = 0;
    std::vector<VolumeScatterer> tissue_;
    std::vector<WallFacet> facets_;
};

}  // namespace echosieve::detail
