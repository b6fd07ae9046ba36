#include "motion/wall/smooth_tissue.hpp"

#include <array>

#include "motion/wall/model.hpp"
#include "motion/wall/shared_beliefs.hpp"

namespace echosieve {

namespace {

// What smooth tissue is tried with: shares over the wall's, strains both ways up to what doubles
// the share across the gate of a small artery, powers over the gate's.
constexpr std::array share_parts = {0.5, 0.7, 0.85, 1.0, 1.15};
constexpr std::array strains = {-4.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0};
constexpr std::array powers = {0.03, 0.1, 1.0};
constexpr double usual_power = 0.3;
constexpr int rounds = 2;
constexpr double smooth_room = 1.5;     // of the tables, for the fastest of them
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
    WallModel model(gate, times, {wall.state, largest_layer(wall.state, smooth_room)}, settings,
                    spread_out(options, settings.sensor));
    const double noise = noise_of(model, wall.layered, options);
    WallState trial = wall.state;
    trial.depth = gate.depth;
    trial.prior = {.strain = 0,
                   .tissue_reach = slowest_layers,
                   .tissue_power = no_layers,
                   .wall_power = usual_power};
    // One after the other, each as it is likeliest with the others so far.
    double smooth = model.evidence(trial, noise);
    const auto settle = [&](const auto& values, auto put) {
        WallState likeliest = trial;
        for (const double value : values) {
            WallState next = trial;
            put(next, value);
            if (const double evidence = model.evidence(next, noise); evidence > smooth) {
                smooth = evidence;
                likeliest = next;
            }
        }
        trial = likeliest;
    };
    for (int round = 0; round < rounds; ++round) {
        settle(share_parts, [&](WallState& s, double x) { s.share = x * wall.state.share; });
        settle(strains, [](WallState& s, double x) { s.prior.strain = x; });
        settle(powers, [](WallState& s, double x) { s.prior.wall_power = x; });
    }
    WallModel with_wall(gate, times, {wall.state, largest_layer(wall.state, 1)}, settings, options);
    return (with_wall.evidence(wall.state, noise) - smooth) / model.values();
}

}  // namespace echosieve
