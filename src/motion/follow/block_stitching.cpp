#include "motion/follow/block_stitching.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "echosieve/core/error.hpp"

namespace echosieve {

namespace {

constexpr double unknown = std::numeric_limits<double>::quiet_NaN();

FrameMotion empty_frame(double time) {
    FrameMotion frame;
    frame.time = time;
    for (double* x : {&frame.near_wall, &frame.near_wall_std, &frame.far_wall, &frame.far_wall_std,
                      &frame.diameter, &frame.diameter_std}) {
        *x = unknown;
    }
    return frame;
}

FrameMotion moved(FrameMotion frame, double near, double far) {
    frame.near_wall += near;
    frame.far_wall += far;
    frame.diameter = frame.far_wall - frame.near_wall;
    return frame;
}

// The errors of both are of the same noise: standard deviations add as they are.
FrameMotion mixed(const FrameMotion& a, const FrameMotion& b, double weight) {
    if (a.valid != b.valid) {
        return a.valid ? a : b;
    }
    const auto mix = [&](double x, double y) { return (1 - weight) * x + weight * y; };
    FrameMotion out = a;
    out.near_wall = mix(a.near_wall, b.near_wall);
    out.far_wall = mix(a.far_wall, b.far_wall);
    out.diameter = out.far_wall - out.near_wall;
    out.near_wall_std = mix(a.near_wall_std, b.near_wall_std);
    out.far_wall_std = mix(a.far_wall_std, b.far_wall_std);
    out.diameter_std = std::hypot(out.near_wall_std, out.far_wall_std);
    out.near_quality = mix(a.near_quality, b.near_quality);
    out.far_quality = mix(a.far_quality, b.far_quality);
    out.quality = std::min(out.near_quality, out.far_quality);
    return out;
}

}  // namespace

BlockStitcher::BlockStitcher(double frame_rate, const BlockOptions& options)
    : frame_rate_((validate(options), frame_rate)),
      drift_time_(options.drift_time),
      largest_jump_(options.largest_jump) {
    require(frame_rate > 0 && std::isfinite(frame_rate), "frame_rate", frame_rate,
            "must be positive and finite [Hz]");
}

void BlockStitcher::add(const BlockFit& fit, BlockRecord& record) {
    const std::size_t block_end = record.first + record.count;
    require(record.first <= end(), "first frame of the block", record.first,
            detail::concatenate("must not lie after the last block's end, ", end()));
    require(block_end >= end(), "end of the block", block_end,
            detail::concatenate("must not lie before the last block's, ", end()));
    require(fit.frames.empty() || (fit.begin() >= record.first && fit.end() <= block_end),
            "first frame fitted", fit.begin(), "must lie, as the last one, within the block");
    while (end() < block_end) {
        held_.push_back({empty_frame(static_cast<double>(end()) / frame_rate_), false});
    }
    const Overlap overlap = overlap_of(fit, block_end);
    compare(fit, overlap, record);
    put(fit, overlap, record);
}

BlockStitcher::Overlap BlockStitcher::overlap_of(const BlockFit& fit, std::size_t none) const {
    // One run, since what both cover are runs.
    Overlap overlap{none, 0};
    for (std::size_t i = std::max(fit.begin(), released_); i < fit.end(); ++i) {
        if (held_[i - released_].covered) {
            overlap.first = std::min(overlap.first, i);
            overlap.last = std::max(overlap.last, i);
        }
    }
    return overlap;
}

double BlockStitcher::Overlap::weight(std::size_t i) const noexcept {
    const double u = static_cast<double>(i - first + 1) / static_cast<double>(last - first + 2);
    return (1 - std::cos(std::numbers::pi * u)) / 2;
}

void BlockStitcher::compare(const BlockFit& fit, const Overlap& overlap,
                            BlockRecord& record) const {
    double sum = 0;
    double near = 0;
    double far = 0;
    double near_square = 0;
    double far_square = 0;
    for (std::size_t i = overlap.first; i <= overlap.last; ++i) {
        const FrameMotion& s = held_[i - released_].motion;
        const FrameMotion& d = fit.frames[i - fit.begin()];
        if (s.valid && d.valid) {
            const double g = overlap.weight(i) * (1 - overlap.weight(i));
            sum += g;
            near += g * (s.near_wall - d.near_wall);
            far += g * (s.far_wall - d.far_wall);
            near_square += g * (s.near_wall - d.near_wall) * (s.near_wall - d.near_wall);
            far_square += g * (s.far_wall - d.far_wall) * (s.far_wall - d.far_wall);
        }
    }
    record.seam = Seam::none;
    record.near_offset = record.far_offset = 0;
    record.near_jump = record.far_jump = 0;
    record.misfit = 0;
    if (sum > 0) {
        near /= sum;
        far /= sum;
        record.near_jump = -near;
        record.far_jump = -far;
        record.misfit = std::sqrt(
            std::max({near_square / sum - near * near, far_square / sum - far * far, 0.0}));
        const bool together = std::max(std::abs(near), std::abs(far)) <= largest_jump_;
        record.seam = together ? Seam::matched : Seam::broken;
        record.near_offset = together ? near : 0;
        record.far_offset = together ? far : 0;
    }
}

void BlockStitcher::put(const BlockFit& fit, const Overlap& overlap, const BlockRecord& record) {
    for (std::size_t i = std::max(fit.begin(), released_); i < fit.end(); ++i) {
        Held& held = held_[i - released_];
        const double after =
            i > overlap.last ? static_cast<double>(i - overlap.last) / frame_rate_ : 0;
        const double fade = overlap.any() ? std::exp(-after / drift_time_) : 1;
        const FrameMotion frame =
            moved(fit.frames[i - fit.begin()], fade * record.near_offset, fade * record.far_offset);
        if (!held.covered) {
            held = {frame, true};
        } else if (record.seam == Seam::broken) {
            held.motion = overlap.weight(i) < 0.5 ? held.motion : frame;
        } else {
            held.motion = mixed(held.motion, frame, overlap.weight(i));
        }
    }
}

void BlockStitcher::release(std::size_t end, std::vector<FrameMotion>& out) {
    const std::size_t count = std::min(held_.size(), end > released_ ? end - released_ : 0);
    for (std::size_t i = 0; i < count; ++i) {
        out.push_back(held_[i].motion);
    }
    held_.erase(held_.begin(), held_.begin() + static_cast<std::ptrdiff_t>(count));
    released_ += count;
}

}  // namespace echosieve
