#include "motion/wall/reference_layer.hpp"

#include <Eigen/Core>
#include <cmath>

#include "echosieve/atoms/gabor.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve {

EnergyProfile energy_profile(const GateSpectrum& gate, const Eigen::ArrayXcd& spectrum,
                             const RecordingSettings& settings) {
    constexpr Eigen::Index fine = 8;
    const Eigen::ArrayXXcd waveform = gate_samples(gate, spectrum.transpose(), fine);
    const double step = settings.depth(gate.grid.step() / static_cast<double>(fine));
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
    while (edge + step >= 0 && edge + step < e.size() && e[edge] > e[at] / 4) {
        edge += step;
    }
    if (sense * (z[edge] - best) > 1.1 * rise) {
        best = z[edge] - sense * rise;
    }
    const double furthest = start + sense * options.thickest_wall;
    return sense * (best - furthest) > 0 ? furthest : best;
}

}  // namespace echosieve
