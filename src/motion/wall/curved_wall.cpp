#include "motion/wall/curved_wall.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "echosieve/core/error.hpp"
#include "motion/wall/reference_layer.hpp"

namespace echosieve {

namespace {

// The integral over the arc, and where E is looked at.
constexpr Eigen::Index arc_steps = 161;  // the phase turns by less than 1 a step at 0.3 rad
constexpr double arc_spreads = 3;        // beyond it w is below 1 %
constexpr double widest_arc = 1.3;       // [rad]: the vessel's side answers nobody
constexpr int depth_steps = 90;
constexpr double first_depth = -2;  // [sigma]
constexpr double last_depth = 4;    // [sigma]
constexpr double facet = 0.1e-3;    // l [m]: common practice, no source

// What is not known of a wall, and how likely (common practice, no source): a facet answers within
// some degrees of its normal, and most walls are smooth beside a wavelength.
constexpr std::array<double, 3> spreads = {0.06, 0.11, 0.19};  // [rad], alike
struct Roughness {
    double size;  // [m]
    double probability;
};
constexpr std::array<Roughness, 3> roughnesses = {{{5e-6, 0.6}, {20e-6, 0.25}, {60e-6, 0.15}}};
// Of a rough arc's peak, over sigma: 40 drawn arcs under a flat face.
constexpr double speckle = 0.6;
constexpr double usual_slope = 0.02;                     // of a vessel's axis along the face, rms
constexpr double spread_of_even = 0.288675134594812882;  // 1 / sqrt(12): over a length, rms
constexpr double usual_width = 10e-3;                    // of a face that is not known [m]
constexpr double least_radius = 1e-3;  // what a fit of the radius may end below [m]
// What is followed is not the layer meant: so often, and so far off, rms (the volume's drawn
// recordings, seeds 1101 to 1160: 8 of 112 walls, nothing in their own echoes tells which).
constexpr double layer_mistaken = 0.07;
constexpr double layer_distance = 0.9e-3;  // [m]
constexpr double strong_echo = 0.5;        // of the largest energy: the layer may lie there

double energy_width(const RecordingSettings& settings) {
    return settings.sound_speed * std::sqrt(std::numbers::ln2) /
           (2 * std::numbers::pi * settings.sensor.bandwidth);
}

// The arc in steps of phi: d, w, and the carrier's phase.
struct Arc {
    Eigen::ArrayXd beyond;
    Eigen::ArrayXd weight;
    Eigen::ArrayXcd turned;
    double step = 0;
};

Arc arc_of(const CurvedWall& wall, const RecordingSettings& settings) {
    const double end = std::min(arc_spreads * wall.spread, widest_arc);
    const Eigen::ArrayXd phi = Eigen::ArrayXd::LinSpaced(arc_steps, -end, end);
    const double k = 2 * std::numbers::pi * settings.sensor.centre_frequency / settings.sound_speed;
    const double sense = wall.far ? -1 : 1;
    Arc arc{Eigen::ArrayXd(arc_steps), Eigen::ArrayXd(arc_steps), Eigen::ArrayXcd(arc_steps),
            2 * end / static_cast<double>(arc_steps - 1)};
    for (Eigen::Index i = 0; i < arc_steps; ++i) {
        const double x = wall.radius * std::sin(phi[i]);
        const double z = wall.depth + sense * wall.radius * (1 - std::cos(phi[i]));
        const double beside = std::max(std::abs(x) - settings.sensor.width / 2, 0.0);
        arc.beyond[i] = sense * (std::hypot(z, beside) - wall.depth);
        const double way = std::copysign(std::atan2(beside, z), x);
        const double psi = phi[i] + sense * way;
        arc.weight[i] = std::exp(-psi * psi / (2 * wall.spread * wall.spread));
        arc.turned[i] = std::polar(arc.weight[i], -2 * k * arc.beyond[i]);
    }
    return arc;
}

void require_wall(const CurvedWall& wall, const RecordingSettings& settings) {
    validate(settings);
    require(wall.radius > 0, "radius", wall.radius, "must be positive [m]");
    require(wall.spread > 0, "spread", wall.spread, "must be positive [rad]");
    require(wall.depth > 0, "depth", wall.depth, "must be positive [m]");
    require(settings.sensor.width > 0, "sensor_width", settings.sensor.width, "must be known [m]");
}

// Depth of the strong echo that is nearest to the layer followed, from there towards the lumen [m].
double nearest_echo(const SeparatedWall& wall, const RecordingSettings& settings) {
    const EnergyProfile profile = energy_profile(wall.layered.gate, wall.spectrum(), settings);
    const Eigen::ArrayXd& e = profile.energy;
    const double least = strong_echo * e.maxCoeff();
    double best = profile.peak() - wall.state.depth;
    for (Eigen::Index k = 1; k + 1 < e.size(); ++k) {
        const double from = profile.depths[k] - wall.state.depth;
        if (e[k] >= e[k - 1] && e[k] > e[k + 1] && e[k] > least &&
            std::abs(from) < std::abs(best)) {
            best = from;
        }
    }
    return -wall.state.sense * best;
}

struct Correction {
    double inwards = 0;  // what the depth is too near to the lumen
    double deviation = 0;
};

Correction correction_of(const SeparatedWall& wall, const RecordingSettings& settings) {
    RecordingSettings known = settings;
    const bool given = settings.sensor.width > 0;
    known.sensor.width = given ? settings.sensor.width : usual_width;
    const ArcOffset arc = arc_offset({.radius = std::max(wall.state.radius, least_radius),
                                      .depth = wall.state.depth,
                                      .far = wall.state.sense > 0},
                                     known);
    const double echo = nearest_echo(wall, settings);
    const double layer = std::sqrt(layer_mistaken) * layer_distance;
    if (given) {
        return {arc.offset - echo, std::hypot(arc.deviation, layer)};
    }
    return {0, std::hypot(std::hypot(arc.deviation, layer), arc.offset - echo)};
}

}  // namespace

ArcPeak arc_peak(const CurvedWall& wall, const RecordingSettings& settings) {
    require_wall(wall, settings);
    const Arc arc = arc_of(wall, settings);
    const double sigma = energy_width(settings);
    const double k = 2 * std::numbers::pi * settings.sensor.centre_frequency / settings.sound_speed;
    const double turn = 2 * k * wall.roughness;
    const double coherent = std::exp(-turn * turn);
    std::array<double, depth_steps> energy{};
    std::array<double, depth_steps> rough{};
    const double step = (last_depth - first_depth) * sigma / (depth_steps - 1);
    for (int n = 0; n < depth_steps; ++n) {
        const auto at = static_cast<std::size_t>(n);
        const Eigen::ArrayXd pulse =
            (-((first_depth * sigma + n * step - arc.beyond) / (2 * sigma)).square()).exp();
        rough[at] =
            (1 - coherent) * facet / wall.radius * arc.step * (arc.weight * pulse).square().sum();
        energy[at] = rough[at] + coherent * std::norm(arc.step * (arc.turned * pulse).sum());
    }
    const auto top = std::max_element(energy.begin() + 1, energy.end() - 1);
    const double bend = *(top - 1) - 2 * *top + *(top + 1);
    const double part = bend < 0 ? (*(top - 1) - *(top + 1)) / (2 * bend) : 0;
    const auto n = static_cast<double>(top - energy.begin());
    const double rough_part = rough[static_cast<std::size_t>(top - energy.begin())] / *top;
    return {first_depth * sigma + (n + std::clamp(part, -1.0, 1.0)) * step, rough_part};
}

ArcOffset arc_offset(const CurvedWall& wall, const RecordingSettings& settings) {
    const double sigma = energy_width(settings);
    double mean = 0;
    double square = 0;
    for (const double spread : spreads) {
        for (const Roughness& rough : roughnesses) {
            CurvedWall one = wall;
            one.spread = spread;
            one.roughness = rough.size;
            const ArcPeak peak = arc_peak(one, settings);
            const double probability = rough.probability / static_cast<double>(spreads.size());
            // A peak wanders no further than the arc reaches.
            const double reach = std::min(speckle * sigma, wall.radius * spread * spread / 2);
            mean += probability * peak.offset;
            square += probability * (peak.offset * peak.offset + peak.rough * reach * reach);
        }
    }
    const double along = usual_slope * settings.sensor.length * spread_of_even;
    return {mean, std::hypot(std::sqrt(std::max(square - mean * mean, 0.0)), along)};
}

DepthCorrection depth_correction(const SeparatedWalls& walls, const RecordingSettings& settings) {
    const Correction near = correction_of(walls.near, settings);
    const Correction far = correction_of(walls.far, settings);
    return {near.inwards, -far.inwards, near.deviation, far.deviation};
}

double depth_deviation(double own, const PulseDelay& delay, const RecordingSettings& settings) {
    return std::hypot(own, settings.depth(delay.deviation));
}

}  // namespace echosieve
