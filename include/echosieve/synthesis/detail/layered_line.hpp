// What a layered line shows at any time: its echoes, its walls, and what its receiver adds.
#pragma once

#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/synthesis/detail/drawn_layers.hpp"
#include "echosieve/synthesis/detail/layered_checks.hpp"
#include "echosieve/synthesis/detail/layered_motion.hpp"
#include "echosieve/synthesis/detail/line_streams.hpp"
#include "echosieve/synthesis/detail/pulse_wave.hpp"
#include "echosieve/synthesis/detail/skewed_pulse.hpp"
#include "echosieve/synthesis/render.hpp"

namespace echosieve::detail {

// Symbols: see layered_motion.hpp; a reverberation that went to and fro twice moves by
//   2 (z(w_n) + breathing + shift - z(0)), twice what the near wall's outer layer moves by

/// What an echo comes from.
enum class LayeredSource { wall, tissue, vein, reverberation };

struct LayeredEcho {
    LayeredSource source = LayeredSource::wall;
    double depth = 0;                ///< [m]
    std::complex<double> amplitude;  ///< in units of the outer layer's peak at rest
};

/// Options those of LayeredScene, valid.
template <class Options>
class LayeredLine {
public:
    LayeredLine(const Options& options, std::uint64_t seed)
        : options_(options),
          pulse_(options.pulse, options.duration, RandomStream(seed, 0)),
          onsets_(pulse_.onsets(options.duration)),
          envelope_(options.pulse_skew),
          tissue_(options, envelope_, RandomStream(seed, line_stream(options.line, 2))),
          gain_(RandomStream(seed, line_stream(options.line, 3))) {
        if (options.artery) {
            RandomStream random(seed, line_stream(options.line, 1));
            layers_ = draw_wall_layers(options_, random);
        }
        RandomStream common(seed, 4);
        for (double* phase : {&breathing_phase_, &vein_phase_, &tone_phase_}) {
            *phase = common.uniform();
        }
        RandomStream random = own_numbers(seed, options.line, 4, common);
        for (std::complex<double>* amplitude : {&near_vein_, &far_vein_, &reverberation_}) {
            const double decibels = amplitude == &reverberation_ ? options.reverberation_decibels
                                                                 : options.vein_decibels;
            *amplitude = std::pow(10, decibels / 20) * unit_phasor(random.uniform());
        }
    }
    static constexpr std::uint64_t first_free_stream = 5;

    [[nodiscard]] const Options& options() const noexcept { return options_; }
    [[nodiscard]] const PulseWave& pulse() const noexcept { return pulse_; }
    [[nodiscard]] const SkewedEnvelope& envelope() const noexcept { return envelope_; }
    [[nodiscard]] double gain(double time) const noexcept {
        return 1 + options_.gain_wander * gain_(time);
    }
    [[nodiscard]] std::size_t echo_count() const noexcept {
        return layers_.size() + tissue_.depths().size() + (options_.vein ? 2 : 0) +
               (reverberates() ? 1 : 0);
    }
    [[nodiscard]] WallDepths walls(double time) const noexcept {
        if (!options_.artery) {
            constexpr double none = std::numeric_limits<double>::quiet_NaN();
            return {none, none, none, none};
        }
        const LayeredState now = state(time);
        const double inner = options_.diameter / 2;
        return {depth_of(now, -1, inner), depth_of(now, -1, outer_radius()),
                depth_of(now, 1, inner), depth_of(now, 1, outer_radius())};
    }
    /// Calls use(LayeredEcho) for each echo at `time` [s].
    template <class Use>
    void for_each_echo(double time, Use use) const {
        const LayeredState now = state(time);
        for (const WallLayer& layer : layers_) {
            const double strength = layer.side < 0 ? now.near_strength : now.far_strength;
            const double own =
                1 + options_.strength_change * layer.rhythm(now, options_.breathing_rate);
            use(LayeredEcho{LayeredSource::wall, depth_of(now, layer.side, layer.rest),
                            strength * own * layer.amplitude});
        }
        for (std::size_t k = 0; k < tissue_.depths().size(); ++k) {
            const double rest = tissue_.depths()[k];
            use(LayeredEcho{LayeredSource::tissue, rest + tissue_motion(options_, now, rest),
                            tissue_.amplitude(k, time)});
        }
        if (options_.vein) {
            const double turns = options_.vein_rate * time + vein_phase_;
            const double half =
                options_.vein_diameter / 2 +
                options_.vein_pulsation / 4 * std::sin(2 * std::numbers::pi * turns);
            const double middle =
                options_.vein_depth + bulk_motion(options_, now, options_.vein_depth);
            use(LayeredEcho{LayeredSource::vein, middle - half, near_vein_});
            use(LayeredEcho{LayeredSource::vein, middle + half, far_vein_});
        }
        if (reverberates()) {
            const double moved =
                depth_of(now, -1, outer_radius()) - layer_depth(options_, -1, outer_radius(), 0);
            use(LayeredEcho{LayeredSource::reverberation, options_.reverberation_at + 2 * moved,
                            reverberation_});
        }
    }
    /// The tone, which goes on from frame to frame.
    void add_interference(double time, const SamplingGrid& grid, std::span<double> frame) const {
        if (options_.interference_decibels <= no_level) {
            return;
        }
        const double frequency = options_.interference_frequency;
        std::complex<double> now = std::pow(10, options_.interference_decibels / 20) *
                                   unit_phasor(frequency * (time + grid.start_time) + tone_phase_);
        const std::complex<double> step = unit_phasor(frequency / grid.sampling_rate);
        for (double& sample : frame) {
            sample += now.real();
            now = {now.real() * step.real() - now.imag() * step.imag(),
                   now.real() * step.imag() + now.imag() * step.real()};
        }
    }

private:
    [[nodiscard]] double outer_radius() const noexcept {
        return options_.diameter / 2 + options_.wall_thickness;
    }
    [[nodiscard]] bool reverberates() const noexcept {
        return options_.artery && options_.reverberation_decibels > no_level;
    }
    // Of a wall's layer, with all that moves it [m].
    [[nodiscard]] double depth_of(const LayeredState& now, int side, double rest) const noexcept {
        return layer_depth(options_, side, rest, side < 0 ? now.near_wave : now.far_wave) +
               now.breathing + now.shift;
    }
    [[nodiscard]] LayeredState state(double time) const noexcept {
        const SceneEvents& events = options_.events;
        const double near_time = time - options_.line_delay;
        const double far_time = near_time - options_.far_delay - events.far_wall_lag;
        const auto lagging = [&](double from) {
            return lagging_(pulse_, from - events.tissue_lag, options_.tissue_lag);
        };
        const auto push = [&](int side, double wave) {
            return layer_depth(options_, side, outer_radius(), wave) -
                   layer_depth(options_, side, outer_radius(), 0);
        };
        LayeredState now;
        now.time = time;
        now.near_wave = pulse_(near_time);
        now.far_wave = smoothing_(pulse_, far_time, options_.far_smoothing);
        now.tissue_wave = lagging(near_time);
        now.near_push = push(-1, now.tissue_wave);
        now.far_push = push(1, lagging(far_time));
        const double turns = options_.breathing_rate * time + breathing_phase_;
        now.breathing = options_.breathing / 2 * std::sin(2 * std::numbers::pi * turns);
        now.shift = events.sensor_shift(time) + transient_motion(options_, time);
        now.near_strength = 1 + events.near_strength_modulation * now.near_wave;
        now.far_strength = 1 + events.far_strength_modulation * now.far_wave;
        now.beats = beats_at(onsets_, options_.pulse.heart_rate, near_time);
        return now;
    }

    Options options_;
    PulseWave pulse_;
    std::vector<double> onsets_;
    SkewedEnvelope envelope_;
    DrawnTissue tissue_;
    SlowWander gain_;
    DelayedWave lagging_ = DelayedWave::low_pass();
    DelayedWave smoothing_ = DelayedWave::smoothing();
    std::vector<WallLayer> layers_;
    double breathing_phase_ = 0;
    double vein_phase_ = 0;
    double tone_phase_ = 0;
    std::complex<double> near_vein_;
    std::complex<double> far_vein_;
    std::complex<double> reverberation_;
};

}  // namespace echosieve::detail
