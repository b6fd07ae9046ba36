#include "motion/wall/smooth_tissue.hpp"

#include <algorithm>
#include <array>
#include <limits>

#include "motion/wall/model.hpp"
#include "motion/wall/shared_beliefs.hpp"

namespace echosieve {

namespace {

// What smooth tissue is tried with: shares over the wall's, strains both ways up to what doubles
// the share across the gate of a small artery, powers over the gate's.
constexpr std::array share_parts = {0.5, 0.7, 0.85, 1.0, 1.15};
constexpr std::array strains = {-4.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0};
constexpr std::array powers = {0.03, 0.1, 0.3, 1.0};
constexpr double share_room = 1.5;      // of the tables, for the fastest of them
constexpr double even_decay = 0.1;      // of the echoes' power over depth [m]: none within a gate
constexpr double no_layers = 1e-9;      // power of layers of other shares, over the gate's
constexpr double slowest_layers = 0.1;  // largest share of those, over the wall's: as few as can be

// The sheet of a wall, spread over the whole gate.
WallModelOptions spread_out(WallModelOptions options, const Sensor& sensor) {
    const double half_gate = separation_half_gate(sensor);
    options.thickness = half_gate;
    options.lead = half_gate * (sensor.bandwidth / stated_bandwidth);
    options.decay = even_decay;
    return options;
}

}  // namespace

double wall_presence(const SeparatedWall& wall, const LayerTimes& times,
                     const RecordingSettings& settings, const WallModelOptions& options) {
    const GateSpectrum& gate = wall.layered.gate;
    WallModel model(gate, times, {wall.state, largest_layer(wall.state, share_room)}, settings,
                    spread_out(options, settings.sensor));
    const double noise = noise_of(model, wall.layered, options);
    double smooth = -std::numeric_limits<double>::infinity();
    WallState trial = wall.state;
    trial.depth = gate.depth;
    trial.prior.tissue_power = no_layers;
    trial.prior.tissue_reach = slowest_layers;
    for (const double part : share_parts) {
        trial.share = part * wall.state.share;
        for (const double strain : strains) {
            trial.prior.strain = strain;
            for (const double power : powers) {
                trial.prior.wall_power = power;
                smooth = std::max(smooth, model.evidence(trial, noise));
            }
        }
    }
    WallModel with_wall(gate, times, {wall.state, largest_layer(wall.state, 1)}, settings, options);
    return (with_wall.evidence(wall.state, noise) - smooth) / model.values();
}

}  // namespace echosieve
