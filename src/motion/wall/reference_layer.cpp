#include "motion/wall/reference_layer.hpp"

#include <Eigen/Core>
#include <cmath>

#include "echosieve/atoms/gabor.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve {

namespace {

constexpr Eigen::Index profile_steps = 8;  // between the gate's samples
// Where a layer's edge is, and how much longer than a pulse's rise it must be for two echoes.
constexpr double edge_part = 0.25;   // of the peak's energy
constexpr double longer_rise = 1.1;  // than a pulse's

}  // namespace

double EnergyProfile::peak() const {
    Eigen::Index at = 0;
    energy.maxCoeff(&at);
    return depths[at];
}

EnergyProfile energy_profile(const GateSpectrum& gate, const Eigen::ArrayXcd& spectrum,
                             const RecordingSettings& settings) {
    const Eigen::ArrayXXcd waveform = gate_samples(gate, spectrum.transpose(), profile_steps);
    const double step = settings.depth(gate.grid.step() / static_cast<double>(profile_steps));
    EnergyProfile profile;
    profile.energy = waveform.row(0).abs2().transpose();
    const Eigen::Index count = profile.energy.size();
    profile.depths = settings.depth(gate.grid.start_time) +
                     step * Eigen::ArrayXd::LinSpaced(count, 0, static_cast<double>(count - 1));
    return profile;
}

double reference_layer_depth(const EnergyProfile& profile, double outwards, double start,
                             const RecordingSettings& settings,
                             const ReferenceLayerOptions& options) {
    validate(options);
    const Eigen::ArrayXd& e = profile.energy;
    const Eigen::ArrayXd& z = profile.depths;
    Eigen::Index strongest = 0;
    const double largest = e.maxCoeff(&strongest);
    const double sense = options.layer == WallLayer::outer ? outwards : -outwards;
    // A pulse's envelope rises from half its peak in this depth; a longer rise is two echoes
    // merged.
    const double rise =
        settings.depth(pulse_length(decay_from_bandwidth(settings.sensor.bandwidth)) / 2);
    double best = z[strongest];
    for (Eigen::Index k = 1; k + 1 < e.size(); ++k) {
        const bool peak =
            e[k] >= e[k - 1] && e[k] > e[k + 1] && e[k] > options.lowest_peak * largest;
        const double beyond = sense * (z[k] - best);
        if (peak && beyond > 0 && std::abs(z[k] - z[strongest]) < options.reach) {
            best = z[k];
        }
    }
    Eigen::Index at = 0;
    (z - best).abs().minCoeff(&at);
    Eigen::Index edge = at;
    const Eigen::Index step = sense > 0 ? 1 : -1;
    while (edge + step >= 0 && edge + step < e.size() && e[edge] > edge_part * e[at]) {
        edge += step;
    }
    if (sense * (z[edge] - best) > longer_rise * rise) {
        best = z[edge] - sense * rise;
    }
    const double furthest = start + sense * options.thickest_wall;
    return sense * (best - furthest) > 0 ? furthest : best;
}

}  // namespace echosieve
