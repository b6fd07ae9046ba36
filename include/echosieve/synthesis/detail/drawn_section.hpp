// What lies in a cross-section, drawn once: pieces of the artery's walls, and scatterers of tissue.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/artery_state.hpp"
#include "echosieve/synthesis/detail/attenuation.hpp"

namespace echosieve::detail {

/// A piece of a wall's layer.
struct WallPiece {
    double side;  // -1 near, +1 far
    bool outer;
    double cosine;
    std::complex<double> amplitude;
};
/// A scatterer of the tissue.
struct SectionScatterer {
    double offset, depth;
    std::complex<double> amplitude;
};

// Peak of the envelope of a layer's echo at rest: its pieces lie apart, so they interfere.
template <class Options>
[[nodiscard]] double rest_peak(const Options& options, const std::vector<WallPiece>& layer) {
    const RecordingSettings& settings = options.settings;
    const double radius = layer[0].outer ? rest_outer(options) : options.diameter / 2;
    const double axis = options.centre_depth + layer[0].side * radius;
    // The pieces' spread, and half a pulse more: where they cancel, the peak lies beside them.
    double spread = 0;
    for (const WallPiece& piece : layer) {
        spread = std::max(spread, radius * (1 - piece.cosine));
    }
    const double width = spread + settings.depth(0.5 / settings.sensor.bandwidth);
    // 64 steps a pulse: the peak is met to 1e-4.
    const double step = settings.depth(1 / (64 * settings.sensor.bandwidth));
    double peak = 0;
    for (double z = -width; z <= width; z += step) {
        const double time = settings.arrival(axis + z);
        std::complex<double> sum = 0;
        for (const WallPiece& piece : layer) {
            const double depth = options.centre_depth + piece.side * radius * piece.cosine;
            const Gabor<double> atom{
                settings.arrival(depth),
                attenuated_frequency(settings.sensor, options.attenuation, depth),
                settings.sensor.bandwidth};
            sum += piece.amplitude * value(atom, time);
        }
        peak = std::max(peak, std::abs(sum));
    }
    return peak;
}

// A wall layer answers like a mirror that is not quite smooth: pieces at Gaussian angles, of
// random strength.
template <class Options>
[[nodiscard]] std::vector<WallPiece> draw_wall_pieces(const Options& options,
                                                      RandomStream& random) {
    std::vector<WallPiece> pieces;
    constexpr int pieces_a_layer = 7;
    for (const double side : {-1.0, 1.0}) {
        for (const bool outer : {true, false}) {
            const double level = outer ? 1 : std::pow(10, options.inner_layer_decibels / 20);
            const double phase = random.uniform();
            std::vector<WallPiece> layer;
            for (int k = 0; k < pieces_a_layer; ++k) {
                // The first piece is the axis itself, and the strongest.
                const double angle = k == 0 ? 0 : options.wall_spread * random.normal();
                const double strength = k == 0 ? 1.5 : 0.5 + 0.5 * random.uniform();
                layer.push_back({side, outer, std::cos(angle),
                                 std::polar(strength, 2 * std::numbers::pi * phase)});
            }
            const double scale = level / rest_peak(options, layer);
            for (WallPiece& piece : layer) {
                piece.amplitude *= scale;
                pieces.push_back(piece);
            }
        }
    }
    return pieces;
}

template <class Options>
[[nodiscard]] std::vector<SectionScatterer> draw_tissue(const Options& options,
                                                        RandomStream& random) {
    std::vector<SectionScatterer> tissue;
    const double top = options.settings.depth(options.settings.start_time);
    const double width = 2 * options.sensor_half_width;
    const auto count = static_cast<std::size_t>(
        std::lround(options.scatterers_per_square * width * options.depth_range));
    for (std::size_t k = 0; k < count; ++k) {
        const double offset = width * (random.uniform() - 0.5);
        const double depth = top + options.depth_range * random.uniform();
        const std::complex<double> amplitude{random.normal(), random.normal()};
        const double z = depth - options.centre_depth;
        const double outside = 1.05 * rest_outer(options);
        if (!options.artery || offset * offset + z * z > outside * outside) {
            tissue.push_back({offset, depth, amplitude});
        }
    }
    // Mean square of the sum of echoes of unit mean square, so many a metre of depth: rate *
    // pulse energy.
    const double per_metre = options.scatterers_per_square * width;
    const double pulse_energy =
        std::sqrt(std::numbers::pi / (2 * decay_from_bandwidth(options.settings.sensor.bandwidth)));
    const double metres = options.settings.depth(pulse_energy);
    const double mean_square = 2 * per_metre * metres;
    const double scale = std::pow(10, options.clutter_decibels / 20) / std::sqrt(mean_square);
    for (SectionScatterer& s : tissue) {
        s.amplitude *= scale;
    }
    return tissue;
}

}  // namespace echosieve::detail
