// A scene along one line: walls of several layers whose echoes change by themselves, viscous
// tissue, and what else a bench or a neck does to a recording; motion, levels and faults.
#pragma once

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/layered_checks.hpp"
#include "echosieve/synthesis/detail/layered_line.hpp"
#include "echosieve/synthesis/detail/pulse_wave.hpp"
#include "echosieve/synthesis/detail/skewed_echo_bank.hpp"
#include "echosieve/synthesis/detail/skewed_pulse.hpp"
#include "echosieve/synthesis/render.hpp"

namespace echosieve {

/// Options that SceneOptions has as well mean the same here. What is unusual is off.
struct LayeredSceneOptions {
    RecordingSettings settings{.sampling_rate = 125e6,
                               .frame_rate = 1000,
                               .start_time = 2 * 5e-3 / 1540,
                               .sensor = {.centre_frequency = 4e6, .bandwidth = 1e6},
                               .sound_speed = 1540};
    double duration = 3;         ///< [s]
    double depth_range = 17e-3;  ///< recorded, from start_time on [m]
    double pulse_skew = 0.5;     ///< of the pulse's envelope, 0 (symmetric) to 0.9
    PulseWaveOptions pulse;

    // Artery. The line passes its axis by axis_offset and sees the chord.
    bool artery = true;
    double centre_depth = 13.2e-3;      ///< of the artery's axis, at rest [m]
    double diameter = 6.2e-3;           ///< inner, at the end of diastole [m]
    double wall_thickness = 0.65e-3;    ///< inner to outer layer, at the end of diastole [m]
    double distension = 0.45e-3;        ///< of the inner diameter [m]
    double near_share = 0.4;            ///< of the distension that the near wall takes
    double axis_offset = 0;             ///< x_0 of the line from the axis [m]
    int sub_layers = 4;                 ///< of each wall, outer and inner one included, 3 to 6
    double inner_layer_decibels = -5;   ///< inner layer's echo over the outer's at rest [dB]
    double middle_layer_decibels = -4;  ///< largest of the layers between [dB]
    double strength_change = 0.2;  ///< of each layer's echo with rhythms of its own, rms, relative
    double far_delay = 4e-3;       ///< of the far wall's pulse after the near wall's [s]
    double far_smoothing = 5e-3;   ///< by which the far wall's pulse is duller, rms [s]
    int plaque = 0;                ///< in the near wall, -1; in the far wall, +1; in none, 0
    double plaque_decibels = 3;    ///< of each of its echoes over the outer layer [dB]
    double plaque_thickness = 1.2e-3;  ///< inwards from the wall's inner layer [m]

    // Tissue.
    double clutter_decibels = -6;        ///< rms envelope of tissue over the outer layer's peak
    double scatterers_per_metre = 15e3;  ///< [1/m]
    double coupling = 0.8;               ///< of the tissue to the wall that it touches, 0 to 1
    double tissue_reach = 4e-3;          ///< over which that falls by a factor e [m]
    double tissue_lag = 15e-3;           ///< of the tissue's pulse after the wall's [s]
    double decorrelation = 0;            ///< rate at which the tissue's echoes change [1/s]
    /// without an artery, an artery beside the line: motion of the tissue over that of its walls,
    /// at their depths
    double beside_share = 0;
    double pulsation = 0;           ///< of all tissue with the pulse, peak, downwards [m]
    double pulsation_gradient = 0;  ///< of the pulsation over depth [1/m]; its sign never changes

    // What moves everything.
    double breathing = 0.3e-3;         ///< peak to peak [m]
    double breathing_rate = 0.23;      ///< [Hz]
    double breathing_gradient = 8;     ///< of the tissue's breathing over depth [1/m]
    std::optional<double> swallow_at;  ///< its begin [s]
    double swallow_size = 2e-3;        ///< downwards, and back [m]
    std::optional<double> cough_at;    ///< its begin [s]
    double cough_size = 0.3e-3;        ///< of a shaking of 12 Hz that dies away [m]

    // A vein: two weak layers that breathe with the tissue and pulsate by themselves.
    bool vein = false;
    double vein_depth = 6.7e-3;       ///< of its middle [m]
    double vein_diameter = 2e-3;      ///< [m]
    double vein_decibels = -8;        ///< of its layers over the outer layer [dB]
    double vein_pulsation = 0.15e-3;  ///< of its diameter, peak to peak [m]
    double vein_rate = 0.6;           ///< of that [Hz]

    // Receiver.
    double snr_decibels = 20;          ///< outer layer's peak over the rms noise of a raw sample
    double ring_down_decibels = 12;    ///< over the outer layer, at the first sample
    double ring_down_length = 0.5e-3;  ///< over which it falls by a factor e [m]
    /// an echo of the near wall's that went to and fro twice, over the outer layer; -400: none [dB]
    double reverberation_decibels = -400;
    double reverberation_at = 20e-3;        ///< its depth at rest; it moves twice as far [m]
    double gain_wander = 0;                 ///< slow, of all samples, rms, relative
    double interference_decibels = -400;    ///< a tone's peak over the outer layer; -400: none [dB]
    double interference_frequency = 1.5e6;  ///< of that tone, outside the band [Hz]
    SceneEvents events;
    std::uint64_t line = 0;  ///< of several over one artery, see lines.hpp; 0: the only one
    double line_delay = 0;   ///< of the pulse at this line [s]

    /// Whether there is no tissue at this depth [m]: within an artery or a vein.
    [[nodiscard]] bool clear_at(double depth) const noexcept {
        const double outer = diameter / 2 + wall_thickness;
        const double chord = std::sqrt(outer * outer - axis_offset * axis_offset);
        return (artery && std::abs(depth - centre_depth) < chord) ||
               (vein && std::abs(depth - vein_depth) < vein_diameter / 2);
    }
};

/// Throws InvalidInput, naming option, value and limit, for what can't be drawn.
inline void validate(const LayeredSceneOptions& options) {
    detail::check_recording(options);
    detail::check_layered_artery(options);
    detail::check_layered_tissue(options);
    detail::check_layered_receiver(options);
    detail::check_layered_depths(options);
}

// The truth of a wall is where its outer layer (and its inner layer) lies on the line, whatever its
// other layers' echoes make of the sum: an echo arrives from there, and its envelope, alone, peaks
// peak_lag() below. The pulse: skewed_pulse.hpp; motion: layered_motion.hpp; layers, their rhythms
// and tissue: drawn_layers.hpp.

class LayeredScene {
public:
    using Options = LayeredSceneOptions;
    static constexpr std::uint64_t first_free_stream =
        detail::LayeredLine<LayeredSceneOptions>::first_free_stream;

    /// Throws InvalidInput for options outside their domain.
    LayeredScene(const LayeredSceneOptions& options, std::uint64_t seed)
        : line_(checked(options), seed) {}

    [[nodiscard]] const LayeredSceneOptions& options() const noexcept { return line_.options(); }
    [[nodiscard]] const PulseWave& pulse() const noexcept { return line_.pulse(); }
    [[nodiscard]] std::size_t echo_count() const noexcept { return line_.echo_count(); }
    [[nodiscard]] WallDepths walls(double time) const noexcept { return line_.walls(time); }
    /// From an echo's arrival to its envelope's peak [m].
    [[nodiscard]] double peak_lag() const noexcept {
        const detail::SkewedEnvelope& envelope = line_.envelope();
        const RecordingSettings& settings = options().settings;
        return settings.depth(envelope.peak() * envelope.length(settings.sensor.bandwidth));
    }
    /// Calls use(detail::LayeredEcho) for each echo at `time` [s].
    template <class Use>
    void for_each_echo(double time, Use use) const {
        line_.for_each_echo(time, use);
    }
    /// Adds the real echoes at `time` [s] to the samples of `frame`, which lie on `grid`.
    void add_echoes(double time, const SamplingGrid& grid, std::span<double> frame) const {
        const RecordingSettings& settings = options().settings;
        detail::SkewedEchoBank bank(line_.envelope(), settings.sensor, grid);
        line_.for_each_echo(time, [&](const detail::LayeredEcho& echo) {
            bank.put(settings.arrival(echo.depth), echo.amplitude);
        });
        bank.add_to(frame);
    }
    /// Adds what the receiver hears beside echoes, the tone, to `frame`.
    void add_interference(double time, const SamplingGrid& grid, std::span<double> frame) const {
        line_.add_interference(time, grid, frame);
    }
    /// The receiver's gain at `time` [s].
    [[nodiscard]] double gain(double time) const noexcept { return line_.gain(time); }

private:
    static const LayeredSceneOptions& checked(const LayeredSceneOptions& options) {
        validate(options);
        return options;
    }
    detail::LayeredLine<LayeredSceneOptions> line_;
};

}  // namespace echosieve
