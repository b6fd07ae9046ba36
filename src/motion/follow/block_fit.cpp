#include "motion/follow/block_fit.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <utility>

#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "motion/line/slips.hpp"

namespace echosieve {

FrameRun longest_contact(const std::vector<FrameState>& states, const std::vector<bool>& slips,
                         std::size_t longest_gap) {
    FrameRun best;
    FrameRun run;
    std::size_t last = 0;  // the run's last good frame
    for (std::size_t i = 0; i < states.size(); ++i) {
        if (!slips.empty() && slips[i]) {
            run = {};
            continue;
        }
        if (states[i] != FrameState::good) {
            continue;
        }
        if (run.count == 0 || i - last > longest_gap + 1) {
            run = {i, 0};
        }
        last = i;
        run.count = i - run.first + 1;
        if (run.count > best.count) {
            best = run;
        }
    }
    return best;
}

OverlapDifference compare_overlap(const BlockFit& before, const BlockFit& now) {
    OverlapDifference out;
    const std::size_t first = std::max(before.begin(), now.begin());
    const std::size_t end = std::min(before.end(), now.end());
    double near_square = 0;
    double far_square = 0;
    for (std::size_t i = first; i < end; ++i) {
        const FrameMotion& b = before.frames[i - before.begin()];
        const FrameMotion& n = now.frames[i - now.begin()];
        if (!b.valid || !n.valid) {
            continue;
        }
        ++out.frames;
        out.near_mean += b.near_wall;
        out.far_mean += b.far_wall;
        const double near = n.near_wall - b.near_wall;
        const double far = n.far_wall - b.far_wall;
        out.near_jump += near;
        out.far_jump += far;
        near_square += near * near;
        far_square += far * far;
    }
    if (out.frames > 0) {
        const double count = static_cast<double>(out.frames);
        for (double* sum : {&out.near_mean, &out.far_mean, &out.near_jump, &out.far_jump,
                            &near_square, &far_square}) {
            *sum /= count;
        }
        const double variance = std::max(near_square - out.near_jump * out.near_jump,
                                         far_square - out.far_jump * out.far_jump);
        out.misfit = std::sqrt(std::max(variance, 0.0));
    }
    return out;
}

namespace {

// Fewer frames that both blocks have valid say nothing of how they agree [s].
constexpr double least_overlap = 0.1;

// Mean depths over the valid frames that the block before shares with this one's fitted part.
struct FormerWalls {
    std::size_t frames = 0;
    double near = 0;
    double far = 0;
};

FormerWalls former_walls(const BlockFit& before, const FrameRun& run, std::size_t first) {
    FormerWalls walls;
    const std::size_t end = std::min(before.end(), first + run.first + run.count);
    for (std::size_t i = std::max(before.begin(), first + run.first); i < end; ++i) {
        const FrameMotion& frame = before.frames[i - before.begin()];
        if (frame.valid) {
            ++walls.frames;
            walls.near += frame.near_wall;
            walls.far += frame.far_wall;
        }
    }
    if (walls.frames > 0) {
        walls.near /= static_cast<double>(walls.frames);
        walls.far /= static_cast<double>(walls.frames);
    }
    return walls;
}

DepthRange narrowed(const DepthRange& allowed, double depth, double reach) {
    const DepthRange range{std::max(allowed.from, depth - reach),
                           std::min(allowed.to, depth + reach)};
    return range.from <= range.to ? range : allowed;
}

// The longest run of usable frames in which a wall is not seen.
std::size_t longest_loss(const ArteryMotion& motion, const std::vector<FrameState>& states) {
    std::size_t longest = 0;
    std::size_t run = 0;
    for (std::size_t i = 0; i < motion.frames.size(); ++i) {
        if (motion.frames[i].valid) {
            run = 0;
        } else if (states[i] == FrameState::good) {
            longest = std::max(longest, ++run);
        }
    }
    return longest;
}

// `motion` put into the frames of the whole recording.
void adopt(BlockFit& fit, const ArteryMotion& motion, const FrameRun& run, BlockOrigin origin) {
    BlockRecord& record = fit.record;
    record.status = motion.status;
    fit.frames = motion.frames;
    fit.pulse_delay = motion.pulse_delay;
    fit.warnings = motion.warnings;
    record.fitted_first = record.first + run.first;
    record.fitted_count = fit.frames.size();
    record.origin = fit.frames.empty() ? BlockOrigin::none : origin;
    record.near_depth = motion.near.depth;
    record.far_depth = motion.far.depth;
    record.valid = 0;
    record.quality = 0;
    for (const FrameMotion& frame : fit.frames) {
        record.valid += frame.valid ? 1 : 0;
        record.quality += frame.quality;
    }
    record.quality /= static_cast<double>(std::max<std::size_t>(record.valid, 1));
}

}  // namespace

BlockFit fit_block(const BasebandView& baseband, const std::vector<FrameState>& states,
                   std::size_t first, const BlockFit& before, const BlockOptions& options) {
    validate(options);
    validate(baseband);
    const std::size_t count = baseband.frames();
    require(states.size() == count, "number of frame states", states.size(),
            detail::concatenate("must equal the frames, ", count));
    const double rate = baseband.settings.frame_rate;
    BlockFit fit;
    BlockRecord& record = fit.record;
    record.first = first;
    record.count = count;
    record.start = static_cast<double>(first) / rate;
    record.end = static_cast<double>(first + std::max<std::size_t>(count, 1) - 1) / rate;
    const FrameCounts counted = count_states(states);
    record.usable = counted.good;
    record.clipped = counted.clipped;
    record.dropped = count - counted.good - counted.clipped;
    const std::vector<bool> slips =
        find_slips(baseband, states, options.track.walls.dead_zone, options.slips);
    record.slipped = static_cast<std::size_t>(std::count(slips.begin(), slips.end(), true));
    const FrameRun run = longest_contact(
        states, slips, held_whole(std::round(options.longest_gap * rate), std::size_t{0}, count));
    record.fitted_first = first + run.first;
    if (static_cast<double>(run.count) <
            std::min(options.shortest_fit * rate, static_cast<double>(count)) ||
        run.count == 0) {
        record.status = TrackStatus::too_few_frames;
        return fit;
    }
    const BasebandView part = baseband.part(run.first, run.count);
    const auto begin = states.begin() + static_cast<std::ptrdiff_t>(run.first);
    const std::vector<FrameState> part_states(begin,
                                              begin + static_cast<std::ptrdiff_t>(run.count));
    const std::size_t least =
        held_whole(std::round(least_overlap * rate), std::size_t{0}, std::size_t{most_counted});
    const auto agrees = [&](const BlockFit& now) {
        const OverlapDifference d = compare_overlap(before, now);
        return d.frames > least &&
               std::max(std::abs(d.near_jump), std::abs(d.far_jump)) <= options.largest_jump;
    };
    const auto shift_times = [&](BlockFit& now) {
        for (std::size_t i = 0; i < now.frames.size(); ++i) {
            now.frames[i].time = static_cast<double>(now.begin() + i) / rate;
        }
        now.agreed = agrees(now) ? before.agreed + 1 : 0;
    };
    const FormerWalls former = former_walls(before, run, first);
    BlockFit carried = fit;
    if (former.frames > least && before.agreed >= options.confirmations) {
        TrackOptions track = options.track;
        // Walls are looked for where their envelopes peak.
        const double lag = baseband.settings.depth(before.pulse_delay.delay);
        const double reach = options.search_reach;
        track.walls.near_range = narrowed(track.walls.near_range, former.near + lag, reach);
        track.walls.far_range = narrowed(track.walls.far_range, former.far + lag, reach);
        const ArteryMotion motion = track_artery(part, part_states, track);
        adopt(carried, motion, run, BlockOrigin::carried);
        shift_times(carried);
        const double loss = static_cast<double>(longest_loss(motion, part_states)) / rate;
        if (!carried.frames.empty() && carried.agreed > 0 && loss <= options.longest_loss) {
            return carried;
        }
    }
    adopt(fit, track_artery(part, part_states, options.track), run, BlockOrigin::acquired);
    shift_times(fit);
    // What was found nearby stands if the whole line holds nothing that is seen in more frames.
    const bool keep =
        !carried.frames.empty() &&
        (fit.frames.empty() || (carried.agreed > 0 && carried.record.valid >= fit.record.valid));
    return keep ? carried : fit;
}

}  // namespace echosieve
