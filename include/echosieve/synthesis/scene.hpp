// The scene of a synthetic recording: an artery in cross-section, tissue around it, how all of
// it moves, and the levels of it all.
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
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/artery_state.hpp"
#include "echosieve/synthesis/detail/attenuation.hpp"
#include "echosieve/synthesis/detail/drawn_section.hpp"
#include "echosieve/synthesis/detail/gabor_echo.hpp"
#include "echosieve/synthesis/detail/line_streams.hpp"
#include "echosieve/synthesis/detail/pulse_wave.hpp"
#include "echosieve/synthesis/detail/scene_checks.hpp"
#include "echosieve/synthesis/render.hpp"

namespace echosieve {

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
    double inner_layer_decibels = -5;  ///< peak of the inner layer's echo over the outer's
    double wall_spread =
        0.12;  ///< standard deviation of the angle under which wall pieces answer [rad]
    /// rms envelope of the tissue's echoes, where it fills the sensor's width, over the outer
    /// layer's peak
    double clutter_decibels = -6;
    /// outer layer's peak, of its envelope with the artery at rest, over the rms noise of a raw
    /// sample (white to half the sampling rate: within the sensor's band there is far less)
    double snr_decibels = 20;
    double sensor_half_width = 6e-3;     ///< [m]
    double scatterers_per_square = 4e6;  ///< tissue scatterers over the cross-section [1/m^2]
    double coupling = 0.5;               ///< of the tissue to the vessel's pulse, 0 to 1
    double breathing = 0.3e-3;           ///< peak to peak [m]
    double breathing_rate = 0.23;        ///< [Hz]
    double breathing_gradient = 8;       ///< of the breathing over depth [1/m]
    double slip = 0;                     ///< speed of the tissue past the vessel, downwards [m/s]
    double attenuation = 0.5;  ///< [dB/cm/MHz], one way; the gain over depth makes up for its loss
    double ring_down_decibels =
        12;  ///< of the sensor's ring-down over the outer layer, at the first sample
    double ring_down_length = 0.5e-3;  ///< over which it falls by a factor e [m]
    PulseWaveOptions pulse;
    bool artery = true;  ///< false: tissue all over, and nothing that it moves with but its own
    /// of all tissue with the pulse at the axis's depth, peak, downwards; beside the artery's push
    /// [m]
    double pulsation = 0;
    double pulsation_gradient = 0;  ///< of the pulsation over depth [1/m]; its sign never changes
    SceneEvents events;
    std::uint64_t line = 0;  ///< of several over one artery, see lines.hpp; 0: the only one
    double line_delay = 0;   ///< of the pulse at this line [s]
};

/// Throws InvalidInput, naming option, value and limit, for what can't be drawn.
inline void validate(const SceneOptions& options) {
    detail::check_scene(options);
    detail::require_finite(options.slip, "slip", "[m/s]");
    require(options.scatterers_per_square >= 0 && options.scatterers_per_square <= 1e9,
            "scatterers_per_square", options.scatterers_per_square, "must lie in [0, 1e9] [1/m^2]");
    const double scatterers =
        options.scatterers_per_square * 2 * options.sensor_half_width * options.depth_range;
    require(scatterers <= detail::most_scatterers, "scatterers_per_square",
            options.scatterers_per_square,
            detail::concatenate("makes ", scatterers, " scatterers, must make no more than ",
                                detail::most_scatterers, " [1/m^2]"));
}

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
        RandomStream common(seed, 1);
        breathing_phase_ = common.uniform();
        RandomStream random = detail::own_numbers(seed, options.line, 1, common);
        if (options.artery) {
            pieces_ = detail::draw_wall_pieces(options_, random);
        }
        tissue_ = detail::draw_tissue(options_, random);
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
        for (const detail::WallPiece& piece : pieces_) {
            const detail::WallCircle& wall = piece.side < 0 ? now.near_wall : now.far_wall;
            const double radius = piece.outer ? wall.outer : wall.inner;
            const double strength = piece.side < 0 ? now.near_strength : now.far_strength;
            use(SceneEcho{wall.centre + piece.side * radius * piece.cosine,
                          strength * piece.amplitude});
        }
        for (const detail::SectionScatterer& s : tissue_) {
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
    SceneOptions options_;
    PulseWave pulse_;
    double breathing_phase_ = 0;
    std::vector<detail::WallPiece> pieces_;
    std::vector<detail::SectionScatterer> tissue_;
};

}  // namespace echosieve
