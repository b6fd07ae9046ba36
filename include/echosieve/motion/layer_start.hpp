// Where a two-layer fit starts: an exhaustive search over the pulse shares of a wall and of the
// tissue on it.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "echosieve/motion/layers.hpp"
#include "echosieve/motion/slow_time.hpp"

namespace echosieve {

// Symbols: as in layers.hpp, w the wall's layer, t the tissue's;  h_w = E_w^H Y, g = E_t^H E_w, d =
// N (1 + ridge). What two layers explain at one frequency is h^H G^-1 h with G = [[d, conj g], [g,
// d]]; g depends only on the differences of the shares, so each pair of shares costs a few
// operations a frequency.

struct LayerStartOptions {
    double largest_share = 750e-6;     ///< of the wall, over the range of p [m]
    double steps_per_wavelength = 14;  ///< of the share grid, in half wavelengths of range
    double tissue_reach = 0.4;         ///< of the wall's largest share: how far the tissue's may go
    std::vector<double> bulk_offsets = {-0.1, 0.0, 0.1, 0.2};  ///< of the wall's b from the line's
    Eigen::Index frame_step = 4;                               ///< every so many frames are used
    double ridge = 0.02;
    std::size_t starts = 4;  ///< how many minima are returned at most
};

struct LayerStart {
    LayerShare wall;
    LayerShare tissue;
    double cost = 0;
};

namespace detail {

[[nodiscard]] inline GateSpectrum every_nth(const GateSpectrum& gate, Eigen::Index step) {
    const Eigen::Index count = (gate.values.rows() + step - 1) / step;
    GateSpectrum thin = gate;
    thin.values.resize(count, gate.bins());
    for (Eigen::Index i = 0; i < count; ++i) {
        thin.values.row(i) = gate.values.row(i * step);
    }
    return thin;
}

[[nodiscard]] inline LayerTimes every_nth(const LayerTimes& times, Eigen::Index step) {
    const Eigen::Index count = (times.pulse.size() + step - 1) / step;
    LayerTimes thin{Eigen::ArrayXd(count), Eigen::ArrayXd(count), Eigen::ArrayXd(count),
                    times.sound_speed};
    for (Eigen::Index i = 0; i < count; ++i) {
        thin.pulse[i] = times.pulse[i * step];
        thin.bulk[i] = times.bulk[i * step];
        thin.weight[i] = times.weight[i * step];
    }
    return thin;
}

}  // namespace detail

/// The lowest minima over the grid, best first, their wall shares a quarter of half a wavelength
/// apart at least. `sign` = -1 for a wall that moves up (near wall) with p, +1 for one that moves
/// down; `bulk` is the line's b there.
[[nodiscard]] inline std::vector<LayerStart> find_layer_starts(
    const GateSpectrum& full, const LayerTimes& all, double sign, double bulk,
    const LayerStartOptions& options = {}) {
    const GateSpectrum gate = detail::every_nth(full, options.frame_step);
    const LayerTimes times = detail::every_nth(all, options.frame_step);
    const double half_wavelength = times.sound_speed / 2 / gate.frequencies.mean();
    const double step = half_wavelength / options.steps_per_wavelength;
    const double range = quantile(times.pulse, 0.98) - quantile(times.pulse, 0.02);
    const auto walls = static_cast<int>(std::ceil(options.largest_share / range / step));
    const int lowest = -2;
    const int highest = static_cast<int>(options.tissue_reach * walls);

    const Eigen::ArrayXcd weight = times.weight.cast<std::complex<double>>();
    const double total = times.weight.sum();
    const double power = (gate.values.abs2().colwise() * times.weight).sum();
    const auto project = [&](const LayerShare& share) {
        const Eigen::ArrayXXcd phasors = layer_phasors(gate, times, share);
        return Eigen::ArrayXcd(
            ((phasors.conjugate() * gate.values).colwise() * weight).colwise().sum());
    };
    std::vector<Eigen::ArrayXcd> tissue;
    for (int j = lowest; j <= highest; ++j) {
        tissue.push_back(project({sign * j * step, bulk}));
    }
    std::vector<LayerStart> all_starts;
    const double d = total * (1 + options.ridge);
    for (const double offset : options.bulk_offsets) {
        std::vector<Eigen::ArrayXcd> cross;  // g by the difference of the grid indices
        for (int k = 2; k <= walls - lowest; ++k) {
            const Eigen::ArrayXXcd phasors = layer_phasors(gate, times, {sign * k * step, offset});
            cross.push_back((phasors.colwise() * weight).colwise().sum().transpose());
        }
        for (int i = 0; i < walls; ++i) {
            const LayerShare wall{sign * i * step, bulk + offset};
            const Eigen::ArrayXcd h = project(wall);
            for (int j = lowest; j <= highest && i - j >= 2; ++j) {
                const Eigen::ArrayXcd& t = tissue[static_cast<std::size_t>(j - lowest)];
                const Eigen::ArrayXcd& g = cross[static_cast<std::size_t>(i - j - 2)];
                const double explained =
                    ((d * (h.abs2() + t.abs2()) - 2 * (h.conjugate() * g.conjugate() * t).real()) /
                     (d * d - g.abs2()))
                        .sum();
                all_starts.push_back({wall, {sign * j * step, bulk}, power - explained});
            }
        }
    }
    std::sort(all_starts.begin(), all_starts.end(),
              [](const LayerStart& a, const LayerStart& b) { return a.cost < b.cost; });
    std::vector<LayerStart> chosen;
    for (const LayerStart& start : all_starts) {
        const bool apart = std::all_of(chosen.begin(), chosen.end(), [&](const LayerStart& other) {
            return std::abs(start.wall.pulse - other.wall.pulse) > half_wavelength / 4;
        });
        if (apart && chosen.size() < options.starts) {
            chosen.push_back(start);
        }
    }
    return chosen;
}

}  // namespace echosieve
