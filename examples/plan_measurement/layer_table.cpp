#include "plan_measurement/layer_table.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstdio>
#include <numbers>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/layer_limits.hpp"

namespace plan_measurement {

using namespace echosieve;

namespace {

constexpr std::size_t frames = 60;      // of one beat
constexpr double wall_motion = 300e-6;  // at the pulse's height [m]: a carotid's wall
constexpr int bins = 5;                 // of a gate of 2 us about a band of 1 MHz
constexpr double widest_reach = 0.9;  // of the bins, over the centre frequency: they stay positive

struct TissueEcho {
    double delay;  // after the wall's, in units of 1 / bandwidth
    double strength;
};
// On both sides of the wall's echo, at no symmetry.
constexpr std::array<TissueEcho, 4> tissue_echoes = {
    {{-0.55, 0.8}, {-0.15, -0.6}, {0.2, 0.7}, {0.65, 0.5}}};

std::vector<std::complex<double>> of_unit_energy(std::vector<std::complex<double>> spectrum) {
    double energy = 0;
    for (const auto& s : spectrum) {
        energy += std::norm(s);
    }
    for (auto& s : spectrum) {
        s /= std::sqrt(energy);
    }
    return spectrum;
}

// A wall of one echo and tissue as strong, both still.
LayerSetting overlapping(const MeasurementPlan& plan) {
    const double centre = plan.sensor.centre_frequency, width = plan.sensor.bandwidth;
    const double reach = std::min(width, widest_reach * centre);
    std::vector<std::complex<double>> wall, tissue;
    LayerSetting out;
    for (int f = 0; f < bins; ++f) {
        const double away = reach * (2.0 * f / (bins - 1) - 1);
        const double pulse = std::exp(-4 * std::numbers::ln2 / 2 * away * away / (width * width));
        out.frequencies.push_back(centre + away);
        wall.emplace_back(pulse);
        std::complex<double> sum = 0;
        for (const TissueEcho& echo : tissue_echoes) {
            sum += std::polar(std::abs(echo.strength) * pulse,
                              -2 * std::numbers::pi * out.frequencies.back() * echo.delay / width +
                                  (echo.strength < 0 ? std::numbers::pi : 0.0));
        }
        tissue.push_back(sum);
    }
    out.sound_speed = plan.sound_speed;
    out.noise = 2 / planned_precision(plan).energy_to_noise;  // energies are 1
    out.layers = {{of_unit_energy(wall), {}}, {of_unit_energy(tissue), {}}};
    return out;
}

OverlapRow row_of(LayerSetting setting, double against) {
    std::vector<double>& wall = setting.layers[0].displacement;
    for (std::size_t k = 0; k < frames; ++k) {
        // Rises within a tenth of the beat, and decays.
        const double t = static_cast<double>(k) / static_cast<double>(frames);
        const double course = t < 0.1 ? 0 : (t - 0.1) / 0.1 * std::exp(1 - (t - 0.1) / 0.1);
        wall.push_back(wall_motion * course);
        setting.layers[1].displacement.push_back((wall_motion - against) * course);
    }
    const LayerLimit free = layer_limits(setting)[0];
    const LayerLimit tied = layer_limits(setting, {.courses = GivenCourses{{wall}}})[0];
    return {against,       free.angle,    free.rms,        free.ratio(),
            free.gain_std, tied.gain_std, free.separable()};
}

}  // namespace

std::vector<OverlapRow> overlapping_layers(const MeasurementPlan& plan, double own) {
    require(own > 0 && std::isfinite(own), "tissue_motion", own, "must be positive and finite [m]");
    std::vector<double> against = {2e-6, 5e-6, 20e-6, 50e-6, 100e-6, 200e-6, own};
    std::sort(against.begin(), against.end());
    const LayerSetting setting = overlapping(plan);
    std::vector<OverlapRow> out;
    for (const double one : against) {
        out.push_back(row_of(setting, one));
    }
    return out;
}

void print(const std::vector<OverlapRow>& rows, double signal_to_noise) {
    std::printf(
        "\nA wall that moves by %.0f um under tissue as strong, at %.0f dB, %zu frames of a beat, "
        "waveforms of both unknown, by how much the tissue lags behind the wall's motion "
        "(docs/layer_limits.md). Angle: by which the two turn against each other. Gain: error of "
        "the wall's motion as a part of it, alike in all frames; last column if the pulse's course "
        "is known. In brackets: not separable, and estimates are worse than this.\n\n"
        "| tissue against wall [um] | angle [rad] | wall in a frame [um] | over a known waveform's "
        "| "
        "gain [%%] | gain, course known [%%] |\n|---|---|---|---|---|---|\n",
        1e6 * wall_motion, signal_to_noise, frames);
    for (const OverlapRow& row : rows) {
        const char* open = row.separable ? "" : "(";
        const char* close = row.separable ? "" : ")";
        std::printf("| %.3g | %.2g | %s%.3g%s | %.3g | %s%.2g%s | %.2g |\n", 1e6 * row.against,
                    row.angle, open, 1e6 * row.deviation, close, row.ratio, open, 100 * row.gain,
                    close, 100 * row.gain_of_share);
    }
}

}  // namespace plan_measurement
