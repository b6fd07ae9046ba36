#include "motion/follow/block_stitching.hpp"

#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

#include "echosieve/core/error.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr double rate = 100;  // [Hz]
constexpr double pi = std::numbers::pi;

// A block's own depths: near wall, far wall [m].
struct Walls {
    double near = 10e-3;
    double far = 16e-3;
    double deviation = 2e-6;
    double quality = 0.9;
};

template <class Depths>
BlockFit block(std::size_t first, std::size_t count, const Depths& depths) {
    BlockFit fit;
    fit.record.first = first;
    fit.record.count = count;
    fit.record.fitted_first = first;
    fit.record.fitted_count = count;
    for (std::size_t i = first; i < first + count; ++i) {
        const Walls walls = depths(i);
        FrameMotion frame;
        frame.time = static_cast<double>(i) / rate;
        frame.near_wall = walls.near;
        frame.far_wall = walls.far;
        frame.diameter = walls.far - walls.near;
        frame.near_wall_std = walls.deviation;
        frame.far_wall_std = 2 * walls.deviation;
        frame.diameter_std = std::hypot(walls.deviation, 2 * walls.deviation);
        frame.near_quality = walls.quality;
        frame.far_quality = walls.quality / 2;
        frame.quality = walls.quality / 2;
        frame.valid = true;
        fit.frames.push_back(frame);
    }
    return fit;
}

// The walls as they move, and how far a block is wrong by.
Walls moving(std::size_t i, double near_error, double far_error) {
    const double swing = std::sin(0.1 * static_cast<double>(i));
    return {10e-3 - 0.1e-3 * swing + near_error, 16e-3 + 0.2e-3 * swing + far_error};
}

struct Stitched {
    std::vector<FrameMotion> frames;
    BlockRecord record;  // of the last block
};

Stitched stitched(const std::vector<BlockFit>& fits, const BlockOptions& options = {}) {
    BlockStitcher stitcher(rate, options);
    Stitched out;
    for (const BlockFit& fit : fits) {
        out.record = fit.record;
        stitcher.add(fit, out.record);
    }
    stitcher.release(stitcher.end(), out.frames);
    return out;
}

// Of the second block within A = 20 .. B = 39.
double weight(std::size_t i) {
    return (1 - std::cos(pi * (static_cast<double>(i) - 19) / 21)) / 2;
}

constexpr double rounding = 1e-15;  // [m]

}  // namespace

TEST_CASE("a matched seam: offset by weighted least squares, a cross-fade, and a slow return") {
    // What they differ by is not the same in all frames, so that the weights matter.
    const auto first = block(0, 40, [](std::size_t i) { return moving(i, 0, 0); });
    const auto second = block(20, 60, [](std::size_t i) {
        const double slope = 1e-6 * (static_cast<double>(i) - 20);
        return moving(i, 50e-6 + slope, -80e-6 - slope / 2);
    });
    BlockOptions options;
    options.drift_time = 0.5;
    const Stitched out = stitched({first, second}, options);
    REQUIRE(out.frames.size() == 80);
    CHECK(out.record.seam == Seam::matched);
    // As the header writes it, A = 20, B = 39.
    double sum = 0, near = 0, far = 0, near_square = 0, far_square = 0;
    for (std::size_t i = 20; i < 40; ++i) {
        const double g = weight(i) * (1 - weight(i));
        const double n = first.frames[i].near_wall - second.frames[i - 20].near_wall;
        const double f = first.frames[i].far_wall - second.frames[i - 20].far_wall;
        sum += g;
        near += g * n;
        far += g * f;
        near_square += g * n * n;
        far_square += g * f * f;
    }
    near /= sum;
    far /= sum;
    const auto scatter = [&](double square, double mean) {
        return std::sqrt(square / sum - mean * mean);
    };
    CHECK_WITHIN(out.record.near_offset, near, rounding);
    CHECK_WITHIN(out.record.far_offset, far, rounding);
    CHECK_WITHIN(out.record.near_jump, -near, rounding);
    CHECK_WITHIN(out.record.far_jump, -far, rounding);
    constexpr double roots = 1e-11;  // [m]: differences of squares, some 1e-8 m^2 to 1e-16 each
    CHECK_WITHIN(out.record.misfit, std::max(scatter(near_square, near), scatter(far_square, far)),
                 roots);
    for (std::size_t i = 0; i < 80; ++i) {
        CAPTURE(i);
        double n = i < 40 ? first.frames[i].near_wall : 0;
        double f = i < 40 ? first.frames[i].far_wall : 0;
        if (i >= 20) {
            const double part = i < 40 ? weight(i) : 1;
            const double fade = i < 40 ? 1 : std::exp(-(static_cast<double>(i) - 39) / rate / 0.5);
            n = (1 - part) * n + part * (second.frames[i - 20].near_wall + fade * near);
            f = (1 - part) * f + part * (second.frames[i - 20].far_wall + fade * far);
        }
        CHECK_WITHIN(out.frames[i].near_wall, n, rounding);
        CHECK_WITHIN(out.frames[i].far_wall, f, rounding);
        CHECK(out.frames[i].diameter == out.frames[i].far_wall - out.frames[i].near_wall);
        CHECK_WITHIN(out.frames[i].time, static_cast<double>(i) / rate, rounding);
        CHECK(out.frames[i].valid);
    }
}

TEST_CASE("blocks that contradict each other are not mixed: a step at the middle of the overlap") {
    for (const bool near_jumps : {true, false}) {
        CAPTURE(near_jumps);
        const BlockOptions options;
        const double jump = 1.5 * options.largest_jump;
        const auto first = block(0, 40, [](std::size_t) { return Walls{}; });
        const auto second = block(20, 60, [&](std::size_t) {
            return near_jumps ? Walls{10e-3 + jump, 16e-3} : Walls{10e-3, 16e-3 - jump};
        });
        const Stitched out = stitched({first, second}, options);
        CHECK(out.record.seam == Seam::broken);
        CHECK_WITHIN(out.record.near_jump, near_jumps ? jump : 0, rounding);
        CHECK_WITHIN(out.record.far_jump, near_jumps ? 0 : -jump, rounding);
        CHECK(out.record.near_offset == 0);
        CHECK(out.record.far_offset == 0);
        for (std::size_t i = 0; i < 80; ++i) {
            CAPTURE(i);
            const FrameMotion& block = i < 30 ? first.frames[i] : second.frames[i - 20];
            CHECK(out.frames[i].near_wall == block.near_wall);
            CHECK(out.frames[i].far_wall == block.far_wall);
            CHECK(out.frames[i].near_wall_std == block.near_wall_std);
        }
    }
    // Just below the limit there is none.
    const double most = BlockOptions{}.largest_jump;
    const auto first = block(0, 40, [](std::size_t) { return Walls{}; });
    const auto second = block(20, 60, [&](std::size_t) {
        return Walls{10e-3 + 0.99 * most, 16e-3};
    });
    CHECK(stitched({first, second}).record.seam == Seam::matched);
}

TEST_CASE("standard deviations add as they are, and a frame is taken from whoever has it valid") {
    auto first = block(0, 40, [](std::size_t) { return Walls{}; });
    auto second = block(20, 60, [](std::size_t) { return Walls{10e-3, 16e-3, 6e-6, 0.5}; });
    first.frames[25].valid = false;
    first.frames[25].near_wall = 0;
    second.frames[35 - 20].valid = false;
    second.frames[35 - 20].near_wall = 0;
    const Stitched out = stitched({first, second});
    constexpr double relative = 1e-12;
    for (const std::size_t i : {20U, 30U, 39U}) {
        CAPTURE(i);
        const double w = weight(i);
        const FrameMotion& m = out.frames[i];
        CHECK_WITHIN_RELATIVE(m.near_wall_std, (1 - w) * 2e-6 + w * 6e-6, relative);
        CHECK_WITHIN_RELATIVE(m.far_wall_std, (1 - w) * 4e-6 + w * 12e-6, relative);
        CHECK_WITHIN_RELATIVE(m.diameter_std, std::hypot(m.near_wall_std, m.far_wall_std),
                              relative);
        CHECK_WITHIN_RELATIVE(m.near_quality, (1 - w) * 0.9 + w * 0.5, relative);
        CHECK_WITHIN_RELATIVE(m.far_quality, (1 - w) * 0.45 + w * 0.25, relative);
        CHECK(m.quality == m.far_quality);
    }
    CHECK(out.frames[25].valid);
    CHECK(out.frames[25].near_wall_std == 6e-6);
    CHECK(out.frames[35].valid);
    CHECK(out.frames[35].near_wall_std == 2e-6);
    // They say nothing of the offset either.
    CHECK_WITHIN(out.record.near_offset, 0, rounding);
}

TEST_CASE("what no block with walls covers has no depth, and hangs on nothing") {
    BlockFit none;
    none.record.first = 40;
    none.record.count = 40;
    none.record.fitted_first = 40;
    const auto first = block(0, 40, [](std::size_t) { return Walls{}; });
    auto third = block(90, 20, [](std::size_t) { return Walls{}; });
    third.record.first = 60;
    third.record.count = 60;
    BlockStitcher stitcher(rate, {});
    std::vector<BlockRecord> records;
    for (const BlockFit& fit : {first, none, third}) {
        records.push_back(fit.record);
        stitcher.add(fit, records.back());
        CHECK(records.back().seam == Seam::none);
    }
    CHECK(stitcher.end() == 120);
    // Released in parts, in order.
    std::vector<FrameMotion> frames;
    stitcher.release(50, frames);
    CHECK(frames.size() == 50);
    CHECK(stitcher.released() == 50);
    stitcher.release(30, frames);
    CHECK(frames.size() == 50);
    stitcher.release(500, frames);
    REQUIRE(frames.size() == 120);
    CHECK(stitcher.released() == 120);
    for (std::size_t i = 0; i < 120; ++i) {
        CAPTURE(i);
        const bool covered = i < 40 || (i >= 90 && i < 110);
        CHECK(frames[i].valid == covered);
        CHECK(std::isnan(frames[i].near_wall) == !covered);
        CHECK(std::isnan(frames[i].diameter_std) == !covered);
        CHECK((covered || frames[i].quality == 0));
        CHECK_WITHIN(frames[i].time, static_cast<double>(i) / rate, rounding);
    }
}

TEST_CASE("a stitcher refuses blocks that leave a hole or go back") {
    CHECK_THROWS_AS(BlockStitcher(0, {}), InvalidInput);
    BlockOptions options;
    options.length = -1;
    CHECK_THROWS_AS(BlockStitcher(rate, options), InvalidInput);
    BlockStitcher stitcher(rate, {});
    const auto refused = [&](const BlockFit& fit) {
        BlockRecord record = fit.record;
        CHECK_THROWS_AS(stitcher.add(fit, record), InvalidInput);
    };
    const auto steady = [](std::size_t) { return Walls{}; };
    refused(block(1, 10, steady));
    BlockFit first = block(0, 40, steady);
    stitcher.add(first, first.record);
    refused(block(41, 10, steady));
    refused(block(10, 20, steady));
    BlockFit outside = block(30, 30, steady);
    outside.record.count = 20;
    refused(outside);
}
