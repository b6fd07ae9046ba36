#include "motion/follow/lines_search.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <utility>
#include <vector>

#include "echosieve/core/threads.hpp"
#include "motion/follow/followed_walls.hpp"
#include "motion/follow/prepared_line.hpp"
#include "motion/wall/depth_range.hpp"
#include "motion/wall/doubts.hpp"
#include "motion/wall/finder.hpp"

namespace echosieve {

namespace {

using Tissues = std::vector<std::optional<Tissue>>;

// How much the tissue of a line moves opposite ways at depths an artery's diameter apart: the
// largest product of two gates' shares, as far as they are trusted. A wall moves the tissue on it.
double promise_of(const CommonMotion& motion, const WallFinderOptions& finder) {
    double most = 0;
    for (Eigen::Index i = 0; i < motion.depths.size(); ++i) {
        for (Eigen::Index j = i + 1; j < motion.depths.size(); ++j) {
            const double apart = motion.depths[j] - motion.depths[i];
            if (apart >= finder.smallest_diameter && apart <= finder.largest_diameter) {
                most = std::max(most, -motion.weight[i] * motion.weight[j] * motion.pulse_share[i] *
                                          motion.pulse_share[j]);
            }
        }
    }
    return most;
}

// The lines with tissue, in the order in which they are searched: those that are in contact longest
// and show most of an artery first.
std::vector<std::size_t> search_order(const LinesInView& view, const Tissues& tissues,
                                      const WallFinderOptions& finder) {
    std::vector<double> promise(tissues.size(), -1);
    std::vector<std::size_t> order;
    for (std::size_t k = 0; k < tissues.size(); ++k) {
        if (tissues[k]) {
            const double seen = view.lines[k]->weights().mean();
            promise[k] = seen * promise_of(tissues[k]->motion, finder);
            order.push_back(k);
        }
    }
    std::ranges::stable_sort(order,
                             [&](std::size_t x, std::size_t y) { return promise[x] > promise[y]; });
    return order;
}

struct Lead {
    std::size_t line = 0;
    SeparatedWalls walls;
    double confidence = 0;
};

// The line whose walls are trusted most, of those that are searched.
std::optional<Lead> find_lead(const LinesInView& view, const Tissues& tissues,
                              const LinesOptions& options) {
    const WallPlan plan = wall_plan(options.track);
    std::optional<Lead> best;
    std::size_t searched = 0;
    for (const std::size_t k : search_order(view, tissues, plan.finder)) {
        if (searched++ == options.most_searches) {
            break;
        }
        const LineHistory& line = *view.lines[k];
        std::optional<SeparatedWalls> walls =
            separate_best(line, find_hypotheses(line, tissues[k], plan), plan);
        if (!walls) {
            continue;
        }
        const FollowedWalls moved = follow_walls(line, *walls, plan.motion, plan.confidence);
        const double sure = std::min(moved.near.report.confidence, moved.far.report.confidence);
        if (!best || sure > best->confidence) {
            best = Lead{k, std::move(*walls), sure};
        }
        if (sure >= plan.search.sure) {
            break;
        }
    }
    return best;
}

// Where a line's walls are looked for, by those of the lead.
WallFinderOptions finder_of(const LinesInView& view, const Lead& lead, std::size_t line,
                            const LinesOptions& options) {
    const double reach =
        view.positions.empty()
            ? options.unknown_reach
            : options.depth_reach +
                  options.largest_tilt * std::abs(view.positions[line] - view.positions[lead.line]);
    WallFinderOptions finder = options.track.walls;
    finder.near_range = narrowed(finder.near_range, lead.walls.near.state.depth, reach);
    finder.far_range = narrowed(finder.far_range, lead.walls.far.state.depth, reach);
    return finder;
}

// The courses of the lead, for all lines.
LayerTimes shared_by(const LinesInView& view, const Lead& lead) {
    LayerTimes times = lead.walls.times;
    for (const LineHistory* line : view.lines) {
        times.lines.push_back({line->weights()});
        times.weight = times.weight.max(times.lines.back().weight);
    }
    return times;
}

// A line's tissue, and its walls if it shows any there, by the lead's time courses.
LineWalls placed(const LineHistory& line, const std::optional<Tissue>& tissue, LayerTimes times,
                 const WallFinderOptions& finder, const WallSeparationOptions& options) {
    LineWalls none{line, {}, {std::move(times), {}, {}, {}}, false};
    if (!tissue) {
        return none;
    }
    Tissue moved = with_pulse(*tissue, none.walls.times);
    for (LayeredGate& gate : moved.gates) {
        gate.late = none.walls.times.lag != 0;
    }
    const std::optional<WallPair> pair = find_walls(line, moved.motion, finder);
    if (pair && pair->pulse_sign > 0) {  // the other way round it would narrow with the pulse
        LineWalls out = place_walls(line, *pair, none.walls.times, moved.gates, options);
        set_tissue_lines(out.walls, moved.motion, *pair, options.wall_distance);
        if (still_walls(line, out.walls, finder)) {
            return out;
        }
    }
    none.walls.tissue = std::move(moved.gates);
    return none;
}

}  // namespace

SearchedLines search_lines(const LinesInView& view, std::vector<CommonMotion> motions,
                           const LinesOptions& options) {
    const WallSeparationOptions& separation = options.track.separation;
    SearchedLines out;
    const Tissues tissues = fit_tissues(view.lines, std::move(motions), separation);
    std::optional<Lead> lead = find_lead(view, tissues, options);
    if (!lead) {
        return out;
    }
    out.lead = lead->line;
    out.times = shared_by(view, *lead);
    std::vector<std::optional<LineWalls>> work(view.lines.size());
    for_each_item(work.size(), options.threads, [&](std::size_t k) {
        if (k != lead->line) {
            work[k].emplace(placed(*view.lines[k], tissues[k], out.times.seen_by(k),
                                   finder_of(view, *lead, k, options), separation));
        }
    });
    work[lead->line].emplace(LineWalls{*view.lines[lead->line], {}, std::move(lead->walls), true});
    for (std::optional<LineWalls>& line : work) {
        out.lines.push_back(std::move(*line));
    }
    refine_walls(out.lines, out.times, separation.fine_rounds, separation);
    for (std::size_t k = 0; k < out.lines.size(); ++k) {
        LineWalls& line = out.lines[k];
        line.found = line.found && still_walls(line.line, line.walls, options.track.walls);
        if (line.found) {
            set_doubts(line.walls, line.line, tissues[k]->motion, separation.model);
        }
    }
    return out;
}

}  // namespace echosieve
