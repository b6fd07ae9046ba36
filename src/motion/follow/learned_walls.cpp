#include "echosieve/motion/learned_walls.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <variant>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/detail/pinned_samples.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/pulse_delay.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/follow/followed_walls.hpp"
#include "motion/follow/prepared_line.hpp"
#include "motion/layers/layer_fit.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/contact.hpp"
#include "motion/line/gate_spectrum.hpp"
#include "motion/line/line.hpp"
#include "motion/line/plain.hpp"
#include "motion/wall/curved_wall.hpp"
#include "motion/wall/pulse_delay.hpp"
#include "motion/wall/recording_check.hpp"
#include "motion/wall/search.hpp"

namespace echosieve {

namespace {

// What raw frames are like: their extremes, and how many samples are pinned there all the time.
template <class T>
void learn_extremes(const FrameView<T>& frames, const std::vector<FrameState>& states,
                    LearnedWalls& out) {
    out.lowest = std::numeric_limits<double>::infinity();
    out.highest = -out.lowest;
    const auto each_good = [&](auto use) {
        for (std::size_t i = 0; i < states.size(); ++i) {
            if (states[i] == FrameState::good) {
                use(frames[i]);
            }
        }
    };
    each_good([&](std::span<const T> frame) {
        for (const T x : frame) {
            out.lowest = std::min(out.lowest, static_cast<double>(x));
            out.highest = std::max(out.highest, static_cast<double>(x));
        }
    });
    each_good([&](std::span<const T> frame) {
        out.pinned = std::max(out.pinned, detail::pinned_samples(frame, out.lowest, out.highest));
    });
}

void validate(const LearnedGate& gate) {
    echosieve::validate(gate.grid);
    require(gate.grid.count >= 1, "gate's samples", gate.grid.count, "must be at least 1");
    require(gate.frequencies.size() >= 1, "gate's frequencies", gate.frequencies.size(),
            "must be at least 1");
    for (const double frequency : gate.frequencies) {
        require(is_finite(frequency), "gate's frequency", frequency, "must be finite [Hz]");
    }
    require(gate.spectra.size() == gate.shares.size() * gate.frequencies.size(), "spectra's values",
            gate.spectra.size(),
            detail::concatenate("must be one a share and frequency, ", gate.shares.size(),
                                " times ", gate.frequencies.size()));
    require(gate.wall_layers <= gate.shares.size(), "wall_layers", gate.wall_layers,
            detail::concatenate("must not exceed the layers, ", gate.shares.size()));
    require(gate.taper > 0 && gate.taper <= 1, "taper", gate.taper, "must lie in (0, 1]");
    require(gate.noise > 0 && is_finite(gate.noise), "noise", gate.noise,
            "must be positive and finite");
}

LearnedWall learn_wall(const SeparatedWall& wall, const FollowedWall& followed, double lag) {
    LearnedWall out;
    out.share = wall.share();
    out.depth = wall.state.depth - lag;
    out.confidence = followed.report.confidence;
    out.gain_std = followed.report.gain_std;
    out.model_std = followed.report.model_std;
    out.own = vector_of(followed.motion.own);
    const GateSpectrum& gate = wall.layered.gate;
    out.gate = {.depth = gate.depth,
                .path = out.share,
                .taper = gate_taper,
                .grid = gate.grid,
                .frequencies = vector_of(gate.frequencies),
                .shares = wall.layered.fit.shares,
                .spectra = rows_of(wall.layered.fit.spectra),
                .wall_layers = wall.wall_layers,
                .noise = wall.layered.fit.noise};
    return out;
}

constexpr int learned_steps = 2;  // of Gauss and Newton, from shares that were fitted nearby

// The tissue's gates that are explained best, cut anew where a follower will cut them.
std::vector<LearnedGate> learn_tissue(const LineHistory& line, const SeparatedWalls& walls,
                                      const LearnOptions& options) {
    std::vector<const LayeredGate*> order;
    for (const LayeredGate& layered : walls.tissue) {
        order.push_back(&layered);
    }
    std::stable_sort(order.begin(), order.end(), [](const LayeredGate* a, const LayeredGate* b) {
        return a->fit.residual() < b->fit.residual();
    });
    order.resize(std::min(order.size(), options.tissue_gates));
    const LayerTimes& times = walls.times;
    const double middle = times.bulk.mean();
    std::vector<LearnedGate> out;
    for (const LayeredGate* layered : order) {
        const LayerShare path{0, layered->fit.shares.back().bulk};
        const GateSpectrum gate =
            gate_spectrum(line, layered->gate.depth, options.track.separation.tissue_half_gate,
                          path.bulk * (times.bulk - middle), GateWindow{.taper = 1});
        const bool late = layered->late && times.lag != 0;
        const LayerFit fit = fit_layers(gate, late ? times.late() : times, layered->fit.shares,
                                        {.iterations = learned_steps});
        out.push_back({.depth = gate.depth,
                       .path = path,
                       .path_offset = middle,
                       .taper = 1.0,
                       .grid = gate.grid,
                       .frequencies = vector_of(gate.frequencies),
                       .shares = fit.shares,
                       .spectra = rows_of(fit.spectra),
                       .noise = fit.noise,
                       .late = late});
    }
    return out;
}

double median_energy(const LineHistory& line) {
    const Eigen::Index first = line.first_below_dead_zone();
    std::vector<double> energies;
    for (Eigen::Index i = 0; i < line.frames(); ++i) {
        if (line.usable[static_cast<std::size_t>(i)]) {
            energies.push_back(
                line.samples.row(i).rightCols(line.samples.cols() - first).abs2().sum());
        }
    }
    return detail::middle(std::move(energies));
}

// What the whole of a recording holds: nothing of what its raw samples are like.
std::optional<LearnedWalls> learn_line(const LineHistory& line, const LearnOptions& options,
                                       const TrackOptions& track) {
    const CommonMotion motion = estimate_common_motion(line, track.motion);
    if (!motion.usable()) {
        return std::nullopt;
    }
    const auto walls = find_and_separate_walls(line, motion, wall_plan(track));
    if (!walls) {
        return std::nullopt;
    }
    const FollowedWalls followed = follow_walls(line, *walls, track.wall_motion, track.confidence);
    if (!followed.trusted(track.confidence)) {
        return std::nullopt;  // what was found is none
    }
    LearnedWalls out;
    out.pulse_delay = pulse_delay(line, *walls, track.baseband, track.pulse);
    const double lag = line.settings.depth(out.pulse_delay.delay);
    const DepthCorrection by = depth_correction(*walls, line.settings);
    out.near = learn_wall(walls->near, followed.near, lag + by.near);
    out.far = learn_wall(walls->far, followed.far, lag + by.far);
    out.tissue = learn_tissue(line, *walls, options);
    out.pulse = vector_of(walls->times.pulse);
    out.bulk = vector_of(walls->times.bulk);
    out.usable = line.usable;
    out.lag = walls->times.lag;
    out.energy = median_energy(line);
    return out;
}

template <class T>
std::optional<LearnedWalls> learn(const FrameView<T>& frames, const RecordingSettings& settings,
                                  const LearnOptions& options) {
    require(frames.samples() >= 1, "samples a frame", frames.samples(), "must be at least 1");
    TrackOptions track = options.track;
    track.baseband.offset = settled_offset(frames, settings, track.baseband, track.offset);
    const Baseband<double> baseband = to_baseband<double>(frames, settings, track.baseband);
    require_trackable(settings, baseband.grid, track.walls, track.separation);
    const std::vector<FrameState> states = check_frames(frames, baseband, track.frames);
    if (count_states(states).good < fewest_frames) {
        return std::nullopt;
    }
    LineHistory line = line_history(baseband, states, track.walls.dead_zone);
    (void)leave_out_lost_contact(line, track.contact);
    std::optional<LearnedWalls> out = learn_line(line, options, track);
    if (!out) {
        return std::nullopt;
    }
    out->settings = settings;
    out->baseband = track.baseband;
    out->samples = frames.samples();
    out->dead_zone = track.walls.dead_zone;
    out->confidence = track.confidence;
    SettingsCheck check =
        check_samples(frames, settings, states, track.settings_check, track.baseband.offset);
    out->near.confidence *= check.trust;
    out->far.confidence *= check.trust;
    out->warnings = std::move(check.warnings);
    learn_extremes(frames, states, *out);
    return out;
}

}  // namespace

void validate(const FollowerOptions& options) {
    constexpr double widest_energy_range = 1e12;  // anything at all
    require(options.iterations >= 1, "iterations", options.iterations, "must be at least 1");
    require(options.least_correlation >= 0 && options.least_correlation < 1, "least_correlation",
            options.least_correlation, "must lie in [0, 1)");
    require(options.largest_rest > 0 && options.largest_rest <= 1, "largest_rest",
            options.largest_rest, "must lie in (0, 1]");
    require(options.energy_range > 1 && is_finite(options.energy_range), "energy_range",
            options.energy_range, "must exceed 1 and be finite");
    require(options.clipped_fraction >= 0 && options.clipped_fraction <= 1, "clipped_fraction",
            options.clipped_fraction, "must lie in [0, 1]");
    require(options.agility > 0 && is_finite(options.agility), "agility", options.agility,
            "must be positive and finite");
    require(options.longest_gap >= 0 && is_finite(options.longest_gap), "longest_gap",
            options.longest_gap, "must be zero or more and finite [s]");
    detail::require_at_most(options.iterations, largest_option::rounds, "iterations");
    detail::require_at_most(options.energy_range, widest_energy_range, "energy_range");
    detail::require_at_most(options.agility, largest_option::factor, "agility");
}

void validate(const LearnedWalls& walls) {
    validate(walls.settings);
    validate(walls.baseband);
    validate(walls.confidence);
    require(walls.energy > 0 && is_finite(walls.energy), "energy", walls.energy,
            "must be positive and finite");
    require(is_finite(walls.lag), "lag", walls.lag, "must be finite [frames]");
    require(is_finite(walls.dead_zone), "dead_zone", walls.dead_zone, "must be finite [m]");
    const std::size_t frames = walls.pulse.size();
    const auto one_a_frame = [&](std::size_t size, const char* name) {
        require(size == frames, name, size,
                detail::concatenate("must have an entry a frame, as pulse has: ", frames));
    };
    one_a_frame(walls.bulk.size(), "bulk");
    one_a_frame(walls.usable.size(), "usable");
    one_a_frame(walls.near.own.size(), "near.own");
    one_a_frame(walls.far.own.size(), "far.own");
    validate(walls.near.gate);
    validate(walls.far.gate);
    for (const LearnedGate& gate : walls.tissue) {
        validate(gate);
    }
}

std::optional<LearnedWalls> learn_walls(const Recording& recording, const LearnOptions& options) {
    validate(options.track);
    return std::visit(
        [&](const auto& frames) { return learn(frames.view(), recording.settings, options); },
        recording.samples);
}

}  // namespace echosieve
