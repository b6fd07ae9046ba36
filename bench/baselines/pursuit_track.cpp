#include "baselines/pursuit_track.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "baselines/gated_track.hpp"
#include "baselines/on_lines.hpp"
#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/correlate/delay.hpp"
#include "echosieve/motion/smoothing.hpp"
#include "echosieve/pursuit/echo_source.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "motion/line/line.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve::baselines {

void validate(const PursuitTrackOptions& options) {
    require(options.atoms >= 1, "atoms", options.atoms, "must be at least 1");
    require(options.spread >= 0 && options.spread < 1, "spread", options.spread,
            "must lie in [0, 1)");
    require(options.least_energy >= 0 && options.least_energy < 1, "least_energy",
            options.least_energy, "must lie in [0, 1)");
    require(options.association > 0, "association", options.association,
            "must be positive [pulse lengths]");
    require(options.least_amplitude >= 0 && options.least_amplitude < 1, "least_amplitude",
            options.least_amplitude, "must lie in [0, 1)");
    validate(options.smoothing);
    detail::require_at_most(options.association, largest_option::factor, "association",
                            "[pulse lengths]");
}

namespace {

using Source = EchoSource<std::complex<double>, GaussNewton>;

// The samples of a gate cut to the line: the first one's place, and their grid.
std::pair<Eigen::Index, SamplingGrid> cut_gate(const LineHistory& line, const WallGate& gate) {
    const Eigen::Index first = held_whole(std::round(line.index(gate.depth - gate.half_length)),
                                          Eigen::Index{0}, line.samples.cols());
    const Eigen::Index last = held_whole(std::round(line.index(gate.depth + gate.half_length)),
                                         Eigen::Index{-1}, line.samples.cols() - 1);
    require(last > first, "gate depth", gate.depth,
            detail::concatenate("the gate must overlap ", line.first_depth(), " to ",
                                line.last_depth(), " [m]"));
    return {first, line.grid.part(static_cast<std::size_t>(first),
                                  static_cast<std::size_t>(last - first + 1))};
}

// What a frame's echo must be like to be the wall's.
struct Expected {
    double arrival = 0;
    double reach = 0;  // from there, at most
    double least = 0;  // amplitude
};

// The echo of these that arrives nearest to where it is expected, if one is the wall's.
const Echo<Gabor<double>>* nearest_echo(const std::vector<Echo<Gabor<double>>>& echoes,
                                        const Expected& expected) {
    const Echo<Gabor<double>>* nearest = nullptr;
    for (const Echo<Gabor<double>>& echo : echoes) {
        const double distance = std::abs(echo.atom.arrival - expected.arrival);
        if (std::abs(echo.amplitude) >= expected.least && distance <= expected.reach &&
            (nearest == nullptr || distance < std::abs(nearest->atom.arrival - expected.arrival))) {
            nearest = &echo;
        }
    }
    return nearest;
}

}  // namespace

EchoTrack follow_echo(const LineHistory& line, const WallGate& gate, double wall_depth,
                      const PursuitTrackOptions& options) {
    validate(gate);
    validate(options);
    require(is_finite(wall_depth), "wall_depth", wall_depth, "must be finite [m]");
    const RecordingSettings& settings = line.settings;
    const auto [first, grid] = cut_gate(line, gate);
    EchoTrack wall;
    wall.track = WallTrack(line.frames());
    Source source(
        grid, GaborBox::around(settings.sensor, options.spread, {grid.start_time, grid.end_time()}),
        GaussNewton{}, 0);
    PursuitEngine<Source> engine;
    PursuitEngine<Source>::Result frame;
    const Stop stop{options.least_energy, std::nullopt};
    std::vector<std::complex<double>> samples(grid.count);
    double delay = 0;
    // The first echo may lie anywhere.
    Expected expected{settings.arrival(wall_depth), std::numeric_limits<double>::infinity(), 0};
    for (Eigen::Index i = 0; i < line.frames(); ++i) {
        if (!line.usable[static_cast<std::size_t>(i)]) {
            continue;
        }
        for (std::size_t k = 0; k < samples.size(); ++k) {
            samples[k] = line.samples(i, first + static_cast<Eigen::Index>(k));
        }
        engine.run(std::span<const std::complex<double>>(samples), source,
                   Orthogonal{options.atoms}, stop, frame);
        const Echo<Gabor<double>>* nearest = nearest_echo(frame.atoms, expected);
        if (nearest == nullptr) {
            continue;
        }
        if (!wall.found) {
            wall.reference = *nearest;
            wall.found = true;
            expected = {
                wall.reference.atom.arrival,
                options.association * pulse_length(decay_from_bandwidth(settings.sensor.bandwidth)),
                options.least_amplitude * std::abs(wall.reference.amplitude)};
        }
        const Delay step = delay_between(wall.reference, *nearest, delay);
        if (!step.usable()) {
            continue;
        }
        delay = step.delay;
        expected.arrival = wall.reference.atom.arrival + delay;
        wall.track.displacement[i] = settings.depth(delay);
        wall.track.correlation[i] = std::min(1.0, step.correlation);
        wall.track.valid[static_cast<std::size_t>(i)] = true;
    }
    bridge(wall.track.displacement, wall.track.valid);
    return wall;
}

std::optional<WallPairTrack> track_echoes(const LineHistory& line, const WallGates& gates,
                                          const PursuitTrackOptions& options) {
    validate(gates);
    const auto follow = [&](const WallGate& gate) {
        const double half = std::max(gate.half_length, pursuit_half_length);
        return follow_echo(line, {gate.depth, half}, gate.depth, options);
    };
    const EchoTrack near = follow(gates.near);
    const EchoTrack far = follow(gates.far);
    if (!near.found || !far.found) {
        return std::nullopt;
    }
    const auto depth = [&](const EchoTrack& wall) {
        return line.settings.depth(wall.reference.atom.arrival);
    };
    return join_walls({near.track, depth(near)}, {far.track, depth(far)}, options.smoothing,
                      line.settings.frame_rate);
}

std::optional<WallPairTrack> track_echoes(const BasebandView& baseband,
                                          const std::vector<FrameState>& states,
                                          const WallGates& gates,
                                          const PursuitTrackOptions& options) {
    return track_echoes(line_history(baseband, states), gates, options);
}

}  // namespace echosieve::baselines
