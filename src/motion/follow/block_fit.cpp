#include "motion/follow/block_fit.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <utility>

#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "motion/line/slips.hpp"
#include "motion/wall/depth_range.hpp"

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

// A block, and how much of it is followed.
class BlockFitter {
public:
    BlockFitter(const BasebandView& baseband, const std::vector<FrameState>& states,
                std::size_t first, const BlockFit& before, const BlockOptions& options)
        : baseband_(baseband),
          states_(states),
          before_(before),
          options_(options),
          rate_(baseband.settings.frame_rate),
          least_(held_whole(std::round(least_overlap * rate_), std::size_t{0},
                            std::size_t{most_counted})) {
        blank_.record.first = first;
    }

    [[nodiscard]] BlockFit run() {
        look_at_frames();
        if (!long_enough()) {
            blank_.record.status = TrackStatus::too_few_frames;
            return std::move(blank_);
        }
        const BlockFit carried = carry();
        if (carried.agreed > 0 && loss_ <= options_.longest_loss) {
            return carried;
        }
        const BlockFit fit = follow(options_.track, BlockOrigin::acquired);
        // What was found nearby stands if the whole line holds nothing that is seen in more frames.
        const bool keep = !carried.frames.empty() &&
                          (fit.frames.empty() ||
                           (carried.agreed > 0 && carried.record.valid >= fit.record.valid));
        return keep ? carried : fit;
    }

private:
    // Fills in what does not depend on where the walls are, and finds the longest part in contact.
    void look_at_frames() {
        BlockRecord& record = blank_.record;
        const std::size_t count = states_.size();
        record.count = count;
        record.start = static_cast<double>(record.first) / rate_;
        record.end =
            static_cast<double>(record.first + std::max<std::size_t>(count, 1) - 1) / rate_;
        const FrameCounts counted = count_states(states_);
        record.usable = counted.good;
        record.clipped = counted.clipped;
        record.dropped = count - counted.good - counted.clipped;
        const std::vector<bool> slips =
            find_slips(baseband_, states_, options_.track.walls.dead_zone, options_.slips);
        record.slipped = static_cast<std::size_t>(std::count(slips.begin(), slips.end(), true));
        run_ = longest_contact(
            states_, slips,
            held_whole(std::round(options_.longest_gap * rate_), std::size_t{0}, count));
        record.fitted_first = record.first + run_.first;
    }
    [[nodiscard]] bool long_enough() const {
        return run_.count > 0 &&
               !(static_cast<double>(run_.count) <
                 std::min(options_.shortest_fit * rate_, static_cast<double>(states_.size())));
    }
    // Followed from the walls of the block before; empty if these are not confirmed.
    [[nodiscard]] BlockFit carry() {
        const FormerWalls former = former_walls(before_, run_, blank_.record.first);
        if (former.frames <= least_ || before_.agreed < options_.confirmations) {
            return blank_;
        }
        TrackOptions track = options_.track;
        // Walls are looked for where their envelopes peak.
        const double lag = baseband_.settings.depth(before_.pulse_delay.delay);
        const double reach = options_.search_reach;
        track.walls.near_range = narrowed(track.walls.near_range, former.near + lag, reach);
        track.walls.far_range = narrowed(track.walls.far_range, former.far + lag, reach);
        return follow(track, BlockOrigin::carried);
    }
    [[nodiscard]] BlockFit follow(const TrackOptions& track, BlockOrigin origin) {
        const auto begin = states_.begin() + static_cast<std::ptrdiff_t>(run_.first);
        const std::vector<FrameState> states(begin,
                                             begin + static_cast<std::ptrdiff_t>(run_.count));
        const ArteryMotion motion =
            track_artery(baseband_.part(run_.first, run_.count), states, track);
        loss_ = static_cast<double>(longest_loss(motion, states)) / rate_;
        BlockFit fit = blank_;
        adopt(fit, motion, run_, origin);
        for (std::size_t i = 0; i < fit.frames.size(); ++i) {
            fit.frames[i].time = static_cast<double>(fit.begin() + i) / rate_;
        }
        fit.agreed = agrees(fit) ? before_.agreed + 1 : 0;
        return fit;
    }
    [[nodiscard]] bool agrees(const BlockFit& fit) const {
        const OverlapDifference d = compare_overlap(before_, fit);
        return d.frames > least_ &&
               std::max(std::abs(d.near_jump), std::abs(d.far_jump)) <= options_.largest_jump;
    }

    const BasebandView& baseband_;
    const std::vector<FrameState>& states_;
    const BlockFit& before_;
    const BlockOptions& options_;
    double rate_;
    std::size_t least_;  // frames that both blocks must have valid
    FrameRun run_;       // that is followed
    double loss_ = 0;    // longest time without a wall, in what was followed last [s]
    BlockFit blank_;     // the record as far as it does not depend on the walls
};

}  // namespace

BlockFit fit_block(const BasebandView& baseband, const std::vector<FrameState>& states,
                   std::size_t first, const BlockFit& before, const BlockOptions& options) {
    validate(options);
    validate(baseband);
    require(states.size() == baseband.frames(), "number of frame states", states.size(),
            detail::concatenate("must equal the frames, ", baseband.frames()));
    return BlockFitter(baseband, states, first, before, options).run();
}

}  // namespace echosieve
