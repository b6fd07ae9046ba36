#include "echosieve/synthesis/random_scene.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <vector>

#include "support/check.hpp"

using namespace echosieve;

namespace {

// The least and the largest of a quantity over the draws.
struct Spread {
    double least = 1e300;
    double largest = -1e300;

    void take(double x) {
        least = std::min(least, x);
        largest = std::max(largest, x);
    }
};

// All drawn lie in the range, and come within 2 % of both its ends: 1,000 draws miss one of them
// with a chance of exp(-20).
void check_fills(const Spread& spread, const DrawRange& range) {
    const double part = 0.02 * (range.to - range.from);
    CHECK(spread.least >= range.from);
    CHECK(spread.least < range.from + part);
    CHECK(spread.largest <= range.to);
    CHECK(spread.largest > range.to - part);
}

}  // namespace

TEST_CASE_TEMPLATE("draws fill their ranges", S, Scene, VolumeScene) {
    const DrawOptions ranges;
    Spread heart_rate;
    Spread distension;
    Spread diameter;
    Spread wall;
    Spread share;
    Spread clutter;
    Spread snr;
    Spread breathing;
    Spread dropped;
    Spread slip;
    int high = 0;
    int slow = 0;
    for (std::uint64_t seed = 0; seed < 1000; ++seed) {
        const DrawnScene<S> drawn = draw_scene<S>(seed);
        const auto& o = drawn.options;
        CHECK(o.artery);
        CHECK(o.pulsation == 0);
        CHECK(o.pulse.ectopic_probability == 0);
        CHECK(o.events.contact_loss_decibels == 0);
        heart_rate.take(o.pulse.heart_rate);
        distension.take(o.distension);
        diameter.take(o.diameter);
        wall.take(o.wall_thickness);
        share.take(o.near_share);
        clutter.take(-o.clutter_decibels);
        snr.take(drawn.in_band_snr_decibels);
        breathing.take(o.breathing);
        dropped.take(drawn.render.dropped_fraction);
        // Below the ring-down: 3.5 mm from the first sample to the shallowest the artery gets.
        const double reach = o.diameter / 2 + o.wall_thickness + o.distension + o.breathing / 2;
        const double top = o.settings.depth(o.settings.start_time);
        constexpr double rounding = 1e-12;
        CHECK(o.centre_depth - reach - top >= 3.5e-3 - rounding);
        if constexpr (std::same_as<S, Scene>) {
            slip.take(o.slip);
        }
        high += o.settings.sensor.centre_frequency == 7.5e6 ? 1 : 0;
        slow += o.settings.frame_rate == 500 ? 1 : 0;
    }
    check_fills(heart_rate, ranges.heart_rate);
    check_fills(distension, ranges.distension);
    check_fills(diameter, ranges.diameter);
    check_fills(wall, ranges.wall_thickness);
    check_fills(share, ranges.near_share);
    check_fills(clutter, ranges.wall_over_tissue_decibels);
    check_fills(snr, ranges.in_band_snr_decibels);
    check_fills(breathing, ranges.breathing);
    check_fills(dropped, ranges.dropped_fraction);
    if constexpr (std::same_as<S, Scene>) {
        check_fills(slip, ranges.slip);
    }
    CHECK(std::abs(high - 500) < 80);  // five standard deviations of 16
    CHECK(std::abs(slow - 500) < 80);
}

TEST_CASE("both simulators and all lines of a seed share what they have in common") {
    for (std::uint64_t seed = 0; seed < 50; ++seed) {
        const auto a = draw_scene<Scene>(seed);
        const auto b = draw_scene<VolumeScene>(seed);
        const auto c = draw_scene<Scene>(seed, LineKind::breathing_tissue);
        const auto d = draw_scene<VolumeScene>(seed, LineKind::pulsating_tissue);
        CHECK(a.options.pulse.heart_rate == b.options.pulse.heart_rate);
        CHECK(a.options.centre_depth == b.options.centre_depth);
        CHECK(a.options.snr_decibels == c.options.snr_decibels);
        CHECK(b.options.tilt == d.options.tilt);
        CHECK(!c.options.artery);
        CHECK(c.options.pulsation == 0);
        CHECK(!d.options.artery);
        CHECK(std::abs(d.options.pulsation) >= 50e-6);
        CHECK(draw_scene<Scene>(seed + 1).options.diameter != a.options.diameter);
        const auto still = draw_scene<Scene>(seed, LineKind::still_tissue);
        CHECK(!still.options.artery);
        CHECK(still.options.breathing == 0);
        CHECK(still.options.slip == 0);
        CHECK(still.options.clutter_decibels == a.options.clutter_decibels);
    }
}

TEST_CASE_TEMPLATE("events come with their probability and leave the rest alone", S, Scene,
                   VolumeScene) {
    DrawOptions ranges;
    ranges.event_probability = 0.3;
    int lost = 0;
    int ectopic = 0;
    for (std::uint64_t seed = 0; seed < 1000; ++seed) {
        const auto with = draw_scene<S>(seed, LineKind::artery, ranges);
        const auto without = draw_scene<S>(seed);
        CHECK(with.options.diameter == without.options.diameter);
        lost += with.options.events.contact_loss_decibels < 0 ? 1 : 0;
        ectopic += with.options.pulse.ectopic_probability > 0 ? 1 : 0;
    }
    CHECK(std::abs(lost - 300) < 75);  // five standard deviations of 14.5
    CHECK(std::abs(ectopic - 300) < 75);
}

TEST_CASE("the noise within the band has the drawn level") {
    DrawOptions ranges;
    ranges.duration = 0.2;
    ranges.dropped_fraction = {0, 0};
    auto drawn = draw_scene<Scene>(4, LineKind::breathing_tissue, ranges);
    drawn.options.scatterers_per_square = 0;
    drawn.options.ring_down_decibels = -300;
    const auto made = render_drawn<float>(drawn);
    const auto& matrix = std::get<FrameMatrix<float>>(made.recording.samples);
    const RecordingSettings& settings = drawn.options.settings;
    // Power within the band by the discrete Fourier transform, at its bins.
    const std::size_t count = matrix.samples();
    const double bin = settings.sampling_rate / static_cast<double>(count);
    const auto first = static_cast<std::size_t>(
        std::ceil((settings.sensor.centre_frequency - settings.sensor.bandwidth / 2) / bin));
    const auto last = static_cast<std::size_t>(
        std::floor((settings.sensor.centre_frequency + settings.sensor.bandwidth / 2) / bin));
    double power = 0;
    const std::size_t frames = 20;
    for (std::size_t i = 0; i < frames; ++i) {
        for (std::size_t k = first; k <= last; ++k) {
            std::complex<double> sum = 0;
            for (std::size_t n = 0; n < count; ++n) {
                sum += static_cast<double>(matrix[i][n]) *
                       std::polar(1.0, -2 * std::numbers::pi * static_cast<double>(k * n % count) /
                                           static_cast<double>(count));
            }
            power += 2 * std::norm(sum) / std::pow(static_cast<double>(count), 2);
        }
    }
    const double width = static_cast<double>(last - first + 1) * bin;
    const double rms =
        std::sqrt(power / static_cast<double>(frames) * settings.sensor.bandwidth / width);
    // At least 20 frames of 20 bins: 2.5 % of the rms, four of them.
    CHECK_WITHIN_RELATIVE(
        rms, drawn.render.wall_counts * std::pow(10, -drawn.in_band_snr_decibels / 20), 0.1);
}

TEST_CASE_TEMPLATE("a drawn recording renders, to the same bits each time", S, Scene, VolumeScene,
                   LayeredScene) {
    DrawOptions ranges;
    ranges.duration = 0.03;
    ranges.event_probability = 0.5;
    for (const LineKind kind :
         {LineKind::artery, LineKind::breathing_tissue, LineKind::pulsating_tissue,
          LineKind::still_tissue, LineKind::artery_beside, LineKind::vein}) {
        if (!can_draw<S>(kind)) {
            CHECK_THROWS_WITH_AS(static_cast<void>(draw_scene<S>(8, kind, ranges)),
                                 doctest::Contains("kind = "), InvalidInput);
            continue;
        }
        const auto made = [&](std::uint64_t seed) {
            return render_drawn<std::int16_t>(draw_scene<S>(seed, kind, ranges));
        };
        const auto a = made(8);
        const auto b = made(8);
        const auto c = made(9);
        const auto values = [](const SyntheticRecording& r) {
            return std::get<FrameMatrix<std::int16_t>>(r.recording.samples).values();
        };
        CHECK(std::ranges::equal(values(a), values(b)));
        CHECK(!std::ranges::equal(values(a), values(c)));
        CHECK(std::isnan(a.truth.walls[0].near_inner) == (kind != LineKind::artery));
    }
}

TEST_CASE_TEMPLATE("one kind of event alone, in every draw", S, Scene, VolumeScene) {
    DrawOptions ranges;
    ranges.event_probability = 1;
    const auto all = draw_scene<S>(3, LineKind::artery, ranges);
    ranges.event_probability = 0;
    const auto none = draw_scene<S>(3, LineKind::artery, ranges);
    ranges.event_probability = 0.7;  // counts no more
    ranges.only_event = EventKind::tissue_lag;
    const auto lag = draw_scene<S>(3, LineKind::artery, ranges);
    CHECK(lag.options.events.tissue_lag == all.options.events.tissue_lag);
    CHECK(lag.options.events.tissue_lag > 0);
    CHECK(lag.options.events.sensor_step == none.options.events.sensor_step);
    CHECK(lag.options.events.contact_loss_decibels == none.options.events.contact_loss_decibels);
    ranges.only_event = EventKind::ectopic_beats;
    const auto ectopic = draw_scene<S>(3, LineKind::artery, ranges);
    CHECK(ectopic.options.pulse.ectopic_probability == all.options.pulse.ectopic_probability);
    CHECK(ectopic.options.events.tissue_lag == none.options.events.tissue_lag);
    CHECK(ectopic.options.events.trigger_jitter == none.options.events.trigger_jitter);
}

TEST_CASE_TEMPLATE("pulsating tissue moves one way", S, Scene, VolumeScene) {
    for (std::uint64_t seed = 0; seed < 20; ++seed) {
        const auto drawn = draw_scene<S>(seed, LineKind::pulsating_tissue);
        detail::ArteryState state;
        state.tissue_wave = 1;
        for (double below = -12e-3; below <= 12e-3; below += 1e-3) {
            const double moved = detail::tissue_pulsation(drawn.options, state, below);
            CHECK(moved * drawn.options.pulsation > 0);
        }
    }
}

TEST_CASE("ranges that can't be are refused by name") {
    DrawOptions ranges;
    ranges.diameter = {5e-3, 4e-3};
    CHECK_THROWS_WITH_AS(validate(ranges), doctest::Contains("diameter = 0.005"), InvalidInput);
    ranges = {};
    ranges.event_probability = 1.5;
    CHECK_THROWS_WITH_AS(validate(ranges), doctest::Contains("event_probability = 1.5"),
                         InvalidInput);
    ranges = {};
    ranges.duration = std::nan("");
    CHECK_THROWS_AS(static_cast<void>(draw_scene<Scene>(1, LineKind::artery, ranges)),
                    InvalidInput);
    ranges = {};
    ranges.diameter = {20e-3, 20e-3};
    CHECK_THROWS_WITH_AS(static_cast<void>(draw_scene<Scene>(1, LineKind::artery, ranges)),
                         doctest::Contains("centre_depth"), InvalidInput);
}
