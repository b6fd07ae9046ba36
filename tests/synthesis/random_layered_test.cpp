// Random layered lines: every effect in some and not in others, kinds of lines that share the rest.
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>

#include "echosieve/synthesis/random_scene.hpp"
#include "support/check.hpp"
#include "support/layered_line.hpp"

using namespace echosieve;
using detail::LayeredSource;
using test::echoes_of;

namespace {

constexpr int draws = 2000;

LayeredSceneOptions drawn(std::uint64_t seed, LineKind kind = LineKind::artery,
                          const DrawOptions& ranges = {}) {
    return draw_scene<LayeredScene>(seed, kind, ranges).options;
}

// How many of the draws have it.
template <class Has>
int count(Has has) {
    int sum = 0;
    for (std::uint64_t seed = 0; seed < draws; ++seed) {
        sum += has(drawn(seed)) ? 1 : 0;
    }
    return sum;
}

// Five standard deviations about the expected number.
void check_chance(int found, double chance) {
    const double deviation = std::sqrt(draws * chance * (1 - chance));
    CHECK(std::abs(found - draws * chance) < 5 * deviation);
}

}  // namespace

TEST_CASE("each effect is in a random part of the layered draws") {
    using O = LayeredSceneOptions;
    check_chance(count([](const O& o) { return o.axis_offset != 0; }), detail::usual);
    check_chance(count([](const O& o) { return o.decorrelation > 0; }), detail::usual);
    check_chance(count([](const O& o) { return o.reverberation_decibels > -400; }), detail::usual);
    check_chance(count([](const O& o) { return o.gain_wander > 0; }), detail::usual);
    check_chance(count([](const O& o) { return o.interference_decibels > -400; }), detail::usual);
    check_chance(count([](const O& o) { return o.events.trigger_jitter > 0; }), detail::usual);
    check_chance(count([](const O& o) { return o.pulse.ectopic_probability > 0; }),
                 detail::occasional);
    check_chance(count([](const O& o) { return o.plaque != 0; }), detail::rare);
    check_chance(count([](const O& o) { return o.swallow_at.has_value(); }), detail::rare);
    check_chance(count([](const O& o) { return o.cough_at.has_value(); }), detail::rare);
    check_chance(count([](const O& o) { return o.events.contact_loss_decibels < 0; }),
                 detail::rare);
    check_chance(count([](const O& o) { return o.events.clipped_fraction > 0; }), detail::rare);
    const int veins = count([](const O& o) { return o.vein; });
    CHECK(veins > 0.02 * draws);  // where there is room above the artery
    CHECK(veins < detail::occasional * draws);
    for (int layers = 3; layers <= 6; ++layers) {
        check_chance(count([=](const O& o) { return o.sub_layers == layers; }), 0.25);
    }
}

TEST_CASE("what is drawn of a layered line lies in its range, and is not the other scenes'") {
    const DrawOptions ranges;
    const auto inside = [](double x, const DrawRange& range) {
        return x >= range.from && x <= range.to;
    };
    for (std::uint64_t seed = 0; seed < 300; ++seed) {
        const auto line = draw_scene<LayeredScene>(seed);
        const LayeredSceneOptions& o = line.options;
        CHECK(inside(o.strength_change, ranges.strength_change));
        CHECK(inside(o.far_delay, ranges.far_delay));
        CHECK(inside(o.tissue_lag, ranges.tissue_lag));
        CHECK(inside(-o.clutter_decibels, ranges.wall_over_tissue_decibels));
        CHECK(inside(line.in_band_snr_decibels, ranges.layered_snr_decibels));
        CHECK((o.reverberation_decibels == detail::no_level ||
               inside(o.reverberation_decibels, ranges.reverberation_decibels)));
        CHECK(o.diameter != draw_scene<Scene>(seed).options.diameter);
        CHECK(o.snr_decibels == raw_snr_decibels(line.in_band_snr_decibels, o.settings));
    }
}

TEST_CASE("kinds of layered lines share all but what makes them") {
    for (std::uint64_t seed = 0; seed < 50; ++seed) {
        const LayeredSceneOptions artery = drawn(seed);
        for (const LineKind kind :
             {LineKind::breathing_tissue, LineKind::pulsating_tissue, LineKind::still_tissue,
              LineKind::artery_beside, LineKind::vein}) {
            const LayeredSceneOptions o = drawn(seed, kind);
            CHECK(!o.artery);
            CHECK(o.plaque == 0);
            CHECK(o.snr_decibels == artery.snr_decibels);
            CHECK(o.clutter_decibels == artery.clutter_decibels);
            CHECK(o.centre_depth == artery.centre_depth);
            CHECK(o.vein == (kind == LineKind::vein));
            CHECK((o.beside_share > 0) == (kind == LineKind::artery_beside));
            CHECK((o.pulsation != 0) == (kind == LineKind::pulsating_tissue));
            const bool still = kind == LineKind::still_tissue;
            CHECK(o.breathing == (still ? 0 : artery.breathing));
            CHECK(o.swallow_at == (still ? std::nullopt : artery.swallow_at));
        }
    }
}

TEST_CASE("still tissue keeps still, tissue that pulsates does so one way") {
    for (std::uint64_t seed = 0; seed < 10; ++seed) {
        const LayeredScene still(drawn(seed, LineKind::still_tissue), seed);
        CHECK(echoes_of(still, 0.1, LayeredSource::tissue)[7].depth ==
              echoes_of(still, 1.3, LayeredSource::tissue)[7].depth);
        LayeredSceneOptions options = drawn(seed, LineKind::pulsating_tissue);
        options.breathing = 0;
        options.swallow_at.reset();
        options.cough_at.reset();
        detail::LayeredState now;
        now.tissue_wave = 1;
        for (double depth = 2e-3; depth < 26e-3; depth += 1e-3) {
            CHECK(detail::tissue_motion(options, now, depth) * options.pulsation > 0);
        }
    }
}

TEST_CASE("one kind of event alone has none of the layered line's own beside it") {
    DrawOptions ranges;
    ranges.only_event = EventKind::tissue_lag;
    for (std::uint64_t seed = 0; seed < 40; ++seed) {
        const LayeredSceneOptions o = drawn(seed, LineKind::artery, ranges);
        CHECK(o.events.tissue_lag > 0);
        CHECK(o.events.trigger_jitter == 0);
        CHECK(o.events.contact_loss_decibels == 0);
        CHECK(o.events.clipped_fraction == 0);
        CHECK(o.pulse.ectopic_probability == 0);
        CHECK(o.diameter == drawn(seed).diameter);
    }
}
