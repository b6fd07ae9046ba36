#include "motion/wall/search.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cstddef>
#include <iterator>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "motion/courses/common_motion.hpp"
#include "motion/courses/pulse_candidates.hpp"
#include "motion/layers/gap_settling.hpp"
#include "motion/layers/joint_motion.hpp"
#include "motion/layers/layer_fit.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/doubts.hpp"
#include "motion/wall/finder.hpp"
#include "motion/wall/own_motion.hpp"
#include "motion/wall/report.hpp"
#include "motion/wall/separation.hpp"

namespace echosieve {

std::vector<LayeredGate> tissue_gates(const LineHistory& line, const CommonMotion& motion,
                                      const LayerTimes& times,
                                      const WallSeparationOptions& options) {
    std::vector<LayeredGate> gates;
    const double first = motion.depths[0];
    const double last = line.last_depth() - options.tissue_half_gate;
    for (double z = first; z <= last; z += options.tissue_spacing) {
        Eigen::Index nearest = 0;
        (motion.depths - z).abs().minCoeff(&nearest);
        LayeredGate layered{
            gate_spectrum(line, z, options.tissue_half_gate,
                          motion.bulk_share_at(z) * (times.bulk - times.bulk.mean()),
                          GateWindow{.taper = 1}),
            {},
            1};
        layered.fit = fit_layers(layered.gate, times,
                                 {{motion.pulse_share[nearest], motion.bulk_share[nearest]}},
                                 {.iterations = refit_steps});
        gates.push_back(std::move(layered));
    }
    return gates;
}

namespace {

// The common motion as the joint fit of the tissue gates has it.
void adopt(Tissue& tissue) {
    CommonMotion& motion = tissue.motion;
    const auto count = static_cast<Eigen::Index>(tissue.gates.size());
    motion.pulse = tissue.times.pulse;
    motion.bulk = tissue.times.bulk;
    motion.depths.resize(count);
    motion.pulse_share.resize(count);
    motion.bulk_share.resize(count);
    motion.weight.resize(count);
    for (Eigen::Index g = 0; g < count; ++g) {
        const LayeredGate& layered = tissue.gates[static_cast<std::size_t>(g)];
        motion.depths[g] = layered.gate.depth;
        motion.pulse_share[g] = layered.fit.shares[0].pulse;
        motion.bulk_share[g] = layered.fit.shares[0].bulk;
        motion.weight[g] = layered.trust;
    }
    fit_bulk_line(motion);
}

}  // namespace

Tissue with_pulse(Tissue tissue, LayerTimes times) {
    tissue.times = std::move(times);
    for (LayeredGate& layered : tissue.gates) {
        layered.fit = fit_layers(layered.gate, tissue.times, {{0, layered.fit.shares[0].bulk}},
                                 {.iterations = refit_steps});
    }
    adopt(tissue);
    return tissue;
}

namespace {

// The walls of a hypothesis, taken apart from `start` times the shares that were scanned.
SeparatedWalls walls_of(const LineHistory& line, Hypothesis hypothesis,
                        const WallSeparationOptions& options, double start) {
    WallPair& pair = *hypothesis.pair;
    Tissue& tissue = hypothesis.tissue;
    const double sign = pair.pulse_sign;
    pair.near.share *= start;
    pair.far.share *= start;
    tissue.times.pulse *= sign;
    for (LayeredGate& layered : tissue.gates) {
        for (LayerShare& share : layered.fit.shares) {
            share.pulse *= sign;
        }
    }
    SeparatedWalls walls =
        separate_walls(line, pair, std::move(tissue.times), std::move(tissue.gates), options);
    set_tissue_lines(walls, tissue.motion, pair, options.wall_distance);
    return walls;
}

// The less trusted wall's confidence.
double confidence_of(const SeparatedWalls& walls, double frame_rate, const WallPlan& plan) {
    const auto report = [&](const SeparatedWall& wall) {
        return wall_report(wall, wall_motion(wall, walls.times, frame_rate, plan.motion),
                           frame_rate);
    };
    WallReport near = report(walls.near);
    WallReport far = report(walls.far);
    set_confidence(near, far, plan.confidence);
    return std::min(near.confidence, far.confidence);
}

// Hypotheses taken apart in turn, the pair trusted most kept.
class Trials {
public:
    Trials(const LineHistory& line, std::vector<Hypothesis> hypotheses, const WallPlan& plan)
        : line_(line), hypotheses_(std::move(hypotheses)), plan_(plan) {
        for (const Hypothesis& h : hypotheses_) {
            most_promise_ = std::max(most_promise_, h.promise);
        }
    }

    // Those that are wanted and promise enough, until one is sure.
    template <class Wanted>
    void try_those(const WallSeparationOptions& way, double start, Wanted wanted) {
        for (Hypothesis& h : hypotheses_) {
            if (confidence_ >= plan_.search.sure) {
                return;
            }
            if (h.pair && !(h.promise < plan_.search.least_promise * most_promise_) && wanted(h)) {
                try_one(h, walls_of(line_, h, way, start));
            }
        }
    }

    [[nodiscard]] double confidence() const noexcept { return confidence_; }
    [[nodiscard]] std::optional<SeparatedWalls> best() && { return std::move(best_); }

private:
    void try_one(Hypothesis& h, SeparatedWalls walls) {
        const bool usable = still_walls(line_, walls, plan_.finder);
        h.moved = walls.near.other_cycle || walls.far.other_cycle;
        h.lost = !usable || std::min(walls.near.mean_evidence, walls.far.mean_evidence) <=
                                plan_.search.hardly_seen;
        if (!usable) {
            return;
        }
        set_doubts(walls, line_, hypotheses_[0].tissue.motion, plan_.separation.model);
        const double sure = confidence_of(walls, line_.settings.frame_rate, plan_);
        if (sure > confidence_) {
            best_ = std::move(walls);
            confidence_ = sure;
        }
    }

    const LineHistory& line_;
    std::vector<Hypothesis> hypotheses_;
    const WallPlan& plan_;
    double most_promise_ = 0;
    std::optional<SeparatedWalls> best_;
    double confidence_ = -1;  // of the best
};

}  // namespace

void validate(const WallPlan& plan) {
    validate(plan.finder);
    validate(plan.separation);
    validate(plan.search);
    validate(plan.motion);
    validate(plan.confidence);
}

namespace {

// The courses as all lines have them; of several, each with the frames that it has.
LayerTimes shared_times(std::span<const LineHistory* const> lines, const CommonMotion& motion) {
    LayerTimes times{motion.pulse, motion.bulk, lines[0]->weights(),
                     lines[0]->settings.sound_speed};
    for (std::size_t k = 0; lines.size() > 1 && k < lines.size(); ++k) {
        times.lines.push_back({lines[k]->weights()});
        times.weight = times.weight.max(times.lines[k].weight);
    }
    return times;
}

// The runs of frames in which one line or another is in contact.
std::vector<FrameRun> common_runs(std::span<const LineHistory* const> lines) {
    std::vector<bool> usable = lines[0]->usable;
    for (const LineHistory* line : lines) {
        for (std::size_t i = 0; i < usable.size(); ++i) {
            usable[i] = usable[i] || line->usable[i];
        }
    }
    return contact_runs(usable, lines[0]->settings.frame_rate);
}

}  // namespace

std::vector<std::optional<Tissue>> fit_tissues(std::span<const LineHistory* const> lines,
                                               std::vector<CommonMotion> motions,
                                               const WallSeparationOptions& options) {
    validate(options);
    std::vector<std::optional<Tissue>> tissues(lines.size());
    std::vector<LayeredGate> gates;
    std::vector<std::ptrdiff_t> counts(lines.size(), 0);
    const auto usable = std::ranges::find_if(motions, &CommonMotion::usable);
    if (usable == motions.end()) {
        return tissues;
    }
    LayerTimes times = shared_times(lines, *usable);
    for (std::size_t k = 0; k < lines.size(); ++k) {
        if (motions[k].usable()) {
            std::vector<LayeredGate> own =
                tissue_gates(*lines[k], motions[k], times.seen_by(k), options);
            counts[k] = std::ssize(own) < fewest_tissue_gates ? 0 : std::ssize(own);
            own.resize(static_cast<std::size_t>(counts[k]));
            for (LayeredGate& gate : own) {
                gate.line = k;
                gates.push_back(std::move(gate));
            }
        }
    }
    if (gates.empty()) {
        return tissues;
    }
    settle_gaps(gates, times, common_runs(lines), lines[0]->half_wavelength(), options.gaps);
    fit_jointly(gates, times, options.rounds, options.coarse, lines[0]->settings.frame_rate);
    auto next = gates.begin();
    for (std::size_t k = 0; k < lines.size(); ++k) {
        if (counts[k] > 0) {
            Tissue& tissue =
                tissues[k].emplace(Tissue{times.seen_by(k), {}, std::move(motions[k])});
            std::move(next, next + counts[k], std::back_inserter(tissue.gates));
            std::advance(next, counts[k]);
            adopt(tissue);
        }
    }
    return tissues;
}

std::optional<Tissue> fit_tissue(const LineHistory& line, CommonMotion motion,
                                 const WallSeparationOptions& options) {
    const LineHistory* const only = &line;
    return std::move(fit_tissues({&only, 1}, {std::move(motion)}, options)[0]);
}

std::vector<Hypothesis> find_hypotheses(const LineHistory& line,
                                        const std::optional<Tissue>& tissue, const WallPlan& plan) {
    validate(plan);
    if (!tissue) {
        return {};
    }
    const WallFinderOptions& finder = plan.finder;
    const WallSearchOptions& options = plan.search;
    const std::vector<PulseCandidate> candidates = pulse_candidates(
        line, tissue->motion,
        {line.first_depth() + finder.dead_zone, finder.smallest_diameter, finder.largest_diameter},
        options.candidates);
    std::vector<Hypothesis> hypotheses;
    for (std::size_t k = 0; k < candidates.size() && k <= options.most_candidates; ++k) {
        const double opposition = candidates[k].opposition;
        if (opposition < options.least_opposition * candidates[0].opposition) {
            break;
        }
        Hypothesis next{*tissue};
        if (k > 0) {
            LayerTimes times = tissue->times;
            times.pulse = candidates[k].pulse;
            next.tissue = with_pulse(std::move(next.tissue), std::move(times));
        }
        next.pair = find_walls(line, next.tissue.motion, finder);
        if (next.pair) {
            next.promise = (next.pair->near.total + next.pair->far.total) * opposition * opposition;
        }
        hypotheses.push_back(std::move(next));
    }
    if (!hypotheses.empty()) {
        std::stable_sort(
            hypotheses.begin() + 1, hypotheses.end(),
            [](const Hypothesis& x, const Hypothesis& y) { return x.promise > y.promise; });
    }
    return hypotheses;
}

std::optional<SeparatedWalls> separate_best(const LineHistory& line,
                                            std::vector<Hypothesis> hypotheses,
                                            const WallPlan& plan) {
    validate(plan);
    Trials trials(line, std::move(hypotheses), plan);
    trials.try_those(plan.separation, 1, [](const Hypothesis&) { return true; });
    // The search over cycles may go astray where the pulse is still far from right.
    WallSeparationOptions without = plan.separation;
    without.search_cycles = false;
    trials.try_those(without, 1, [](const Hypothesis& h) { return h.moved; });
    // Tissue up to a part of the wall's share is allowed for: a share that starts far too large
    // leaves the wall to it, and grows.
    if (trials.confidence() < plan.search.sure) {
        trials.try_those(plan.separation, plan.search.smaller_start,
                         [](const Hypothesis& h) { return h.lost; });
    }
    return std::move(trials).best();
}

std::optional<SeparatedWalls> find_and_separate_walls(const LineHistory& line, CommonMotion motion,
                                                      const WallPlan& plan) {
    validate(plan);
    const std::optional<Tissue> tissue = fit_tissue(line, std::move(motion), plan.separation);
    return separate_best(line, find_hypotheses(line, tissue, plan), plan);
}

}  // namespace echosieve
