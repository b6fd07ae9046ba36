// A scene in a volume: an artery among scatterers beneath a flat sensor, drawn once and moved in
// time; geometry, sensor, motion and levels.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/artery_state.hpp"
#include "echosieve/synthesis/detail/drawn_volume.hpp"
#include "echosieve/synthesis/detail/flat_sensor.hpp"
#include "echosieve/synthesis/detail/gamma_echo_bank.hpp"
#include "echosieve/synthesis/detail/gamma_pulse.hpp"
#include "echosieve/synthesis/detail/pulse_wave.hpp"
#include "echosieve/synthesis/detail/scene_checks.hpp"
#include "echosieve/synthesis/render.hpp"

namespace echosieve {

/// Options that SceneOptions has as well mean the same here.
struct VolumeSceneOptions {
    RecordingSettings settings{.sampling_rate = 125e6,
                               .frame_rate = 1000,
                               .start_time = 2 * 5e-3 / 1540,
                               .sensor = {.centre_frequency = 4e6, .bandwidth = 1e6},
                               .sound_speed = 1540};
    double duration = 3;            ///< [s]
    double depth_range = 17e-3;     ///< recorded, from start_time on [m]
    double centre_depth = 13.2e-3;  ///< of the artery's axis below the sensor's middle, at rest [m]
    double diameter = 6.2e-3;       ///< inner, at the end of diastole [m]
    double wall_thickness = 0.65e-3;   ///< inner to outer layer, at the end of diastole [m]
    double distension = 0.45e-3;       ///< of the inner diameter [m]
    double near_share = 0.4;           ///< of the distension that the near wall takes
    double inner_layer_decibels = -5;  ///< peak of the inner layer's echo over the outer's
    /// rms envelope of what scatters between the layers, about, over the outer layer's peak [dB]
    double media_decibels = -24;
    /// standard deviation of the angle between a facet's normal and the beam under which it answers
    /// [rad]
    double wall_spread = 0.12;
    double wall_roughness = 8e-6;    ///< standard deviation of the facets' radius [m]
    double lateral_offset = 0.5e-3;  ///< of the axis from the sensor's middle, across [m]
    double tilt = 0.015;             ///< slope of the axis along y
    double curvature = 2;            ///< of the axis along y, downwards at both ends [1/m]
    /// rms envelope of the tissue's echoes, away from the artery, over the outer layer's peak [dB]
    double clutter_decibels = -6;
    double snr_decibels = 20;            ///< outer layer's peak over the rms noise of a raw sample
    double sensor_half_width = 6e-3;     ///< across the vessel, x [m]
    double sensor_half_length = 3e-3;    ///< along the vessel, y [m]
    double sensor_taper = 1.5e-3;        ///< over which the face fades towards its edges [m]
    double margin = 3e-3;                ///< of tissue beside the sensor on all sides [m]
    double scatterers_per_volume = 1e9;  ///< of the tissue [1/m^3]
    double coupling = 0.6;               ///< of the tissue to the vessel's motion, 0 to 1
    double breathing = 0.3e-3;           ///< peak to peak [m]
    double breathing_rate = 0.23;        ///< [Hz]
    double breathing_gradient = 8;       ///< of the breathing over depth: compression [1/m]
    double attenuation = 0.5;  ///< [dB/cm/MHz], one way; the gain over depth makes up for its loss
    double ring_down_decibels = 12;    ///< over the outer layer, at the first sample
    double ring_down_length = 0.5e-3;  ///< over which it falls by a factor e [m]
    PulseWaveOptions pulse;
    bool artery = true;             ///< false: tissue all over
    double pulsation = 0;           ///< of all tissue with the pulse, peak, downwards [m]
    double pulsation_gradient = 0;  ///< of the pulsation over depth [1/m]; its sign never changes
    SceneEvents events;
    std::uint64_t line = 0;  ///< of several over one artery, see lines.hpp; 0: the only one
    double line_delay = 0;   ///< of the pulse at this line [s]

    [[nodiscard]] FlatSensor face() const noexcept {
        return {sensor_half_width, sensor_half_length, sensor_taper};
    }
};

/// Throws InvalidInput, naming option, value and limit, for what can't be drawn.
inline void validate(const VolumeSceneOptions& options) {
    detail::check_scene(options);
    using detail::require_within;
    detail::require_level(options.media_decibels, "media_decibels");
    detail::require_positive(options.sensor_half_length, "sensor_half_length", "[m]");
    detail::require_positive(options.sensor_taper, "sensor_taper", "[m]");
    require_within(options.margin, 0, 0.05, "margin", " [m]");
    require_within(options.wall_roughness, 0, 1e-4, "wall_roughness", " [m]");
    require_within(options.tilt, -0.3, 0.3, "tilt", "");
    require_within(options.curvature, -50, 50, "curvature", " [1/m]");
    require_within(options.wall_spread, 0.01, 0.5, "wall_spread", " [rad]");
    const double slope =
        std::abs(options.tilt) + std::abs(options.curvature) * options.sensor_half_length;
    require(slope <= 3 * options.wall_spread, "tilt", options.tilt,
            detail::concatenate("with the curvature the axis slopes by ", slope,
                                " at most, which must not exceed 3 wall_spread"));
    require(std::abs(options.lateral_offset) <= options.sensor_half_width, "lateral_offset",
            options.lateral_offset, "must leave the artery's axis beneath the sensor [m]");
    require_within(options.scatterers_per_volume, 0, 1e12, "scatterers_per_volume", " [1/m^3]");
    const double scatterers = options.scatterers_per_volume * 4 *
                              (options.sensor_half_width + options.margin) *
                              (options.sensor_half_length + options.margin) * options.depth_range;
    require(scatterers <= detail::most_scatterers, "scatterers_per_volume",
            options.scatterers_per_volume,
            detail::concatenate("makes ", scatterers, " scatterers, must make no more than ",
                                detail::most_scatterers, " [1/m^3]"));
    const RecordingSettings& settings = options.settings;
    const double bottom = settings.depth(settings.start_time) + options.depth_range;
    require(detail::gamma_survives(settings.sensor, options.attenuation, bottom) &&
                detail::gamma_frequency(settings.sensor, options.attenuation, bottom) >
                    settings.sensor.bandwidth / 2,
            "attenuation", options.attenuation,
            "must leave the pulse's band above 0 Hz at the lowest depth [dB/cm/MHz]");
}

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
        : pulse_(checked(options).pulse, options.duration, RandomStream(seed, 0)),
          drawn_(options, seed) {}

    [[nodiscard]] const VolumeSceneOptions& options() const noexcept { return drawn_.options(); }
    [[nodiscard]] const PulseWave& pulse() const noexcept { return pulse_; }
    [[nodiscard]] std::size_t echo_count() const noexcept {
        return drawn_.facets().size() + drawn_.tissue().size();
    }
    [[nodiscard]] WallDepths walls(double time) const noexcept { return state(time).walls; }
    /// 2 tau: the envelope peaks so much below the depth that it arrives from [m].
    [[nodiscard]] double peak_lag() const noexcept {
        return options().settings.depth(2 * gamma_decay_time(options().settings.sensor.bandwidth));
    }
    /// The sensor's frequency as heard from `depth` [m], see detail::gamma_frequency [Hz].
    [[nodiscard]] double frequency_at(double depth) const noexcept {
        return detail::gamma_frequency(options().settings.sensor, options().attenuation, depth);
    }
    /// Adds the real echoes at `time` [s] to the samples of `frame`, which lie on `grid`.
    void add_echoes(double time, const SamplingGrid& grid, std::span<double> frame) const {
        const RecordingSettings& settings = options().settings;
        const detail::ArteryState now = state(time);
        detail::GammaEchoBank bank(grid);
        const std::vector<detail::VolumeScatterer>& tissue = drawn_.tissue();
        const std::vector<detail::WallFacet>& facets = drawn_.facets();
        auto scatterer = tissue.begin();
        auto facet = facets.begin();
        while (scatterer != tissue.end() || facet != facets.end()) {
            const int layer = facet == facets.end() ? scatterer->layer
                              : scatterer == tissue.end()
                                  ? facet->layer
                                  : std::min(scatterer->layer, facet->layer);
            bank.set_pulse(frequency_at((layer + 0.5) * detail::layer_thickness),
                           options().settings.sensor.bandwidth);
            for (; scatterer != tissue.end() && scatterer->layer == layer; ++scatterer) {
                bank.put(settings.arrival(drawn_.distance(*scatterer, now)), scatterer->amplitude);
            }
            for (; facet != facets.end() && facet->layer == layer; ++facet) {
                const double strength = facet->side < 0 ? now.near_strength : now.far_strength;
                bank.put(settings.arrival(drawn_.distance(*facet, now)),
                         strength * facet->amplitude);
            }
            bank.move_to(frame);
        }
    }

private:
    static const VolumeSceneOptions& checked(const VolumeSceneOptions& options) {
        validate(options);
        return options;
    }
    [[nodiscard]] detail::ArteryState state(double time) const noexcept {
        const double a =
            2 * std::numbers::pi * (options().breathing_rate * time + drawn_.breathing_phase());
        const double breathing = options().breathing / 2 * std::sin(a + 0.3 * std::sin(a));
        return detail::artery_state(options(), pulse_, breathing, time);
    }
    PulseWave pulse_;
    detail::DrawnVolume<VolumeSceneOptions> drawn_;
};

}  // namespace echosieve
