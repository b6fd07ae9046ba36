// What a bench or a neck adds to a layered line: each effect with and without.
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numbers>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/synthesis/layered_scene.hpp"
#include "echosieve/synthesis/render.hpp"
#include "support/check.hpp"
#include "support/layered_line.hpp"
#include "support/quick_scene.hpp"

using namespace echosieve;
using detail::LayeredSource;
using test::bare;
using test::echoes_of;
using test::floats;
using test::Found;

namespace {

constexpr double rounding = 1e-12;

// Largest of the differences of two frames over the largest sample.
double difference(const std::vector<double>& a, const std::vector<double>& b) {
    double most = 0;
    double largest = 0;
    for (std::size_t n = 0; n < a.size(); ++n) {
        most = std::max(most, std::abs(a[n] - b[n]));
        largest = std::max(largest, std::abs(b[n]));
    }
    return most / largest;
}

std::vector<double> frame_of(const SyntheticRecording& made, std::size_t i) {
    const auto frame = floats(made)[i];
    return {frame.begin(), frame.end()};
}

}  // namespace

TEST_CASE("a plaque is stiff, thick and strong") {
    LayeredSceneOptions options = bare();
    options.strength_change = 0;
    const LayeredScene soft(options, 2);
    options.plaque = -1;
    const LayeredScene stiff(options, 2);
    const auto layers = echoes_of(stiff, 0, LayeredSource::wall);
    CHECK(layers.size() == echoes_of(soft, 0, LayeredSource::wall).size() + detail::plaque_echoes);
    // Its echoes lie below the near wall's inner layer, over the thickness.
    const WallDepths rest = stiff.walls(0);
    const double loud = std::pow(10, options.plaque_decibels / 20);
    double deepest = 0;
    int found = 0;
    for (const detail::LayeredEcho& echo : layers) {
        if (echo.depth > rest.near_inner && echo.depth < options.centre_depth) {
            ++found;
            deepest = std::max(deepest, echo.depth);
            CHECK_WITHIN(std::abs(echo.amplitude), loud, rounding);
        }
    }
    CHECK(found == detail::plaque_echoes);
    CHECK(deepest <= rest.near_inner + options.plaque_thickness);
    CHECK(deepest >= rest.near_inner + 0.7 * options.plaque_thickness);
    double most = 0;
    for (double t = 0; t < 0.5; t += 0.01) {
        const WallDepths now = stiff.walls(t);
        CHECK_WITHIN(now.near_inner - now.near_outer, rest.near_inner - rest.near_outer, rounding);
        CHECK(now.far_inner == soft.walls(t).far_inner);  // the other wall knows nothing of it
        const auto moved = [&](const LayeredScene& scene) {
            const double outer = options.diameter / 2 + options.wall_thickness;
            return scene.walls(t).near_outer - (options.centre_depth - outer);
        };
        most = std::max(most, std::abs(moved(soft)));
        constexpr double second_order = 0.05;
        CHECK_WITHIN(moved(stiff), detail::stiff_motion * moved(soft), second_order * most);
    }
    CHECK(most > 50e-6);
}

TEST_CASE("swallow and cough move everything, and the truth, for their time") {
    LayeredSceneOptions options = bare();
    options.scatterers_per_metre = 1e3;
    options.depth_range = 20e-3;
    options.duration = 2;
    const LayeredScene plain(options, 2);
    options.swallow_at = 0.3;
    options.swallow_size = 1.5e-3;
    options.cough_at = 1.3;
    const LayeredScene scene(options, 2);
    double swallowed = 0;
    double coughed = 0;
    double fastest = 0;
    double before = 0;
    constexpr double step = 1e-3;
    for (double t = 0; t < 2; t += step) {
        const double moved = scene.walls(t).near_outer - plain.walls(t).near_outer;
        CHECK_WITHIN(scene.walls(t).far_inner - plain.walls(t).far_inner, moved, rounding);
        const Found with = echoes_of(scene, t, LayeredSource::tissue);
        const Found without = echoes_of(plain, t, LayeredSource::tissue);
        CHECK_WITHIN(with[3].depth - without[3].depth, moved, rounding);
        if (t < 0.3 || (t > 0.3 + detail::swallow_length && t < 1.3)) {
            CHECK_WITHIN(moved, 0.0, rounding);
        }
        (t < 1.3 ? swallowed : coughed) = std::max(t < 1.3 ? swallowed : coughed, std::abs(moved));
        fastest = t > 1.3 ? std::max(fastest, std::abs(moved - before) / step) : 0;
        before = moved;
    }
    constexpr double between_steps = 1e-3;
    CHECK_WITHIN_RELATIVE(swallowed, options.swallow_size, between_steps);
    CHECK(coughed > 0.7 * options.cough_size);  // it dies away as it rises
    CHECK(coughed <= options.cough_size);
    CHECK(fastest > 10e-3);  // [m/s], an artery's walls do 5
}

TEST_CASE("beside an artery the tissue moves opposite ways about a quarter as far, smoothly") {
    LayeredSceneOptions options = bare();
    options.artery = false;
    options.scatterers_per_metre = 4e3;
    options.tissue_lag = 0;
    options.far_delay = 0;
    options.far_smoothing = 0;
    options.tissue_reach = 2e-3;
    const auto motion = [&](double depth) {
        detail::LayeredState now;
        now.near_push = -1;
        now.far_push = 1;
        return detail::tissue_motion(options, now, depth);
    };
    CHECK(motion(10e-3) == 0);  // off by default
    options.beside_share = 0.25;
    const double outer = options.diameter / 2 + options.wall_thickness;
    const double chord_near = options.centre_depth - outer;
    const double chord_far = options.centre_depth + outer;
    constexpr double other_side = 0.02;  // of what the other wall adds, 7.5 mm away
    CHECK_WITHIN(motion(chord_near), -0.25, other_side);
    CHECK_WITHIN(motion(chord_far), 0.25, other_side);
    CHECK_WITHIN(motion(options.centre_depth), 0.0, rounding);
    CHECK_WITHIN(motion(chord_near - 4e-3) / motion(chord_near), 1 / std::cosh(2.0), other_side);
    for (double z = 5e-3; z < 22e-3; z += 10e-6) {
        CHECK(std::abs(motion(z + 10e-6) - motion(z)) < 0.25 * 10e-6 / options.tissue_reach);
    }
    const LayeredScene scene(options, 2);
    CHECK(echoes_of(scene, 0, LayeredSource::wall).empty());
    CHECK(std::isnan(scene.walls(0.1).near_outer));
    // No lumen: echoes all along.
    const Found tissue = echoes_of(scene, 0, LayeredSource::tissue);
    CHECK(std::ranges::any_of(tissue, [&](const detail::LayeredEcho& echo) {
        return std::abs(echo.depth - options.centre_depth) < 1e-3;
    }));
    CHECK(tissue.size() == 68);  // 4 a millimetre
}

TEST_CASE("a vein is two weak layers that breathe and pulsate by themselves") {
    LayeredSceneOptions options = bare();
    options.scatterers_per_metre = 15e3;
    CHECK(echoes_of(LayeredScene(options, 2), 0, LayeredSource::vein).empty());
    options.vein = true;
    options.duration = 20;
    options.breathing = 0.4e-3;
    const LayeredScene scene(options, 2);
    double least = 1;
    double most = 0;
    double shallowest = 1;
    double deepest = 0;
    for (double t = 0; t < 20; t += 0.01) {
        const Found layers = echoes_of(scene, t, LayeredSource::vein);
        REQUIRE(layers.size() == 2);
        const double width = layers[1].depth - layers[0].depth;
        const double middle = (layers[1].depth + layers[0].depth) / 2;
        least = std::min(least, width);
        most = std::max(most, width);
        shallowest = std::min(shallowest, middle);
        deepest = std::max(deepest, middle);
        CHECK_WITHIN(std::abs(layers[0].amplitude), std::pow(10, -0.4), rounding);
    }
    constexpr double between_steps = 1e-3;
    CHECK_WITHIN_RELATIVE(most - least, options.vein_pulsation, between_steps);
    const double strained =
        1 + options.breathing_gradient * (options.vein_depth - options.centre_depth);
    CHECK_WITHIN_RELATIVE(deepest - shallowest, options.breathing * strained, between_steps);
    for (const detail::LayeredEcho& echo : echoes_of(scene, 0, LayeredSource::tissue)) {
        constexpr double moved = 0.3e-3;
        CHECK(std::abs(echo.depth - options.vein_depth) > options.vein_diameter / 2 - moved);
    }
}

TEST_CASE("a late trigger makes all echoes of its frame late alike") {
    LayeredSceneOptions options = bare();
    options.duration = 0.1;
    options.scatterers_per_metre = 15e3;
    const LayeredScene plain(options, 9);
    options.events.trigger_jitter = 4e-9;
    const SyntheticRecording made = render<float>(LayeredScene(options, 9), 9);
    const double counts = RenderOptions{}.wall_counts;
    for (const std::size_t i : {2U, 7U, 15U}) {
        SamplingGrid grid = options.settings.grid(floats(made).samples());
        CHECK(made.truth.trigger_delays[i] != 0);
        grid.start_time -= made.truth.trigger_delays[i];
        std::vector<double> expected(grid.count);
        plain.add_echoes(made.truth.times[i], grid, expected);
        for (double& x : expected) {
            x *= counts;
        }
        constexpr double floats_only = 1e-6;
        CHECK(difference(frame_of(made, i), expected) < floats_only);
    }
}

TEST_CASE("the gain wanders slowly and by its rms") {
    LayeredSceneOptions options = bare();
    options.duration = 0.1;
    const SyntheticRecording plain = render<float>(LayeredScene(options, 9), 9);
    options.gain_wander = 0.1;
    const LayeredScene scene(options, 9);
    const SyntheticRecording made = render<float>(scene, 9);
    for (const std::size_t i : {0U, 9U, 19U}) {
        std::vector<double> expected = frame_of(plain, i);
        for (double& x : expected) {
            x *= scene.gain(plain.truth.times[i]);
        }
        constexpr double floats_only = 1e-6;
        CHECK(difference(frame_of(made, i), expected) < floats_only);
    }
    double square = 0;
    double count = 0;
    for (double t = 0; t < 1000; t += 0.1) {
        square += std::pow(scene.gain(t) - 1, 2);
        ++count;
        CHECK(scene.gain(t) > 0);
        CHECK(std::abs(scene.gain(t + 1e-3) - scene.gain(t)) < 1e-3);
    }
    constexpr double finite_time = 0.02;  // fifty of the slowest waves
    CHECK_WITHIN_RELATIVE(std::sqrt(square / count), options.gain_wander, finite_time);
}

TEST_CASE("the tone has its frequency and level, and goes on from frame to frame") {
    LayeredSceneOptions options = bare();
    options.duration = 0.1;
    options.interference_decibels = -10;
    options.events.contact_loss_decibels = -40;
    options.events.contact_loss_start = 0;
    const LayeredScene scene(options, 9);
    const SyntheticRecording made = render<float>(scene, 9);
    options.interference_decibels = -400;
    const SyntheticRecording silent = render<float>(LayeredScene(options, 9), 9);
    const SamplingGrid grid = options.settings.grid(floats(made).samples());
    std::complex<double> first = 0;
    for (const std::size_t i : {0U, 6U, 13U}) {
        // Taken off, what is left is the frame without it: contact does not weaken the tone.
        std::complex<double> tone = 0;
        double left = 0;
        double all = 0;
        const auto phasor = [&](std::size_t n) {
            return std::polar(1.0, 2 * std::numbers::pi * options.interference_frequency *
                                       (made.truth.times[i] + grid.time(static_cast<double>(n))));
        };
        const auto value = [&](std::size_t n) {
            return static_cast<double>(floats(made)[i][n]) -
                   static_cast<double>(floats(silent)[i][n]);
        };
        for (std::size_t n = 0; n < grid.count; ++n) {
            tone += 2 * value(n) * std::conj(phasor(n)) / static_cast<double>(grid.count);
        }
        constexpr double mirrored = 0.03;  // of a tone of some thirty cycles
        CHECK_WITHIN_RELATIVE(std::abs(tone), RenderOptions{}.wall_counts * std::pow(10, -0.5),
                              mirrored);
        for (std::size_t n = 0; n < grid.count; ++n) {
            left += std::pow(value(n) - (tone * phasor(n)).real(), 2);
            all += std::pow(value(n), 2);
        }
        CHECK(left < mirrored * mirrored * all);
        first = i == 0 ? tone : first;
        CHECK_WITHIN(std::arg(tone / first), 0.0, mirrored);
    }
}

TEST_CASE("tissue changes over time as it is told, and keeps its power") {
    LayeredSceneOptions options = bare();
    options.scatterers_per_metre = 20e3;
    options.duration = 10;
    const auto amplitudes = [](const LayeredScene& scene, double t) {
        return echoes_of(scene, t, LayeredSource::tissue);
    };
    const LayeredScene constant(options, 3);
    CHECK(amplitudes(constant, 0)[5].amplitude == amplitudes(constant, 9)[5].amplitude);
    options.decorrelation = 0.5;
    const LayeredScene scene(options, 3);
    const double expected_square =
        std::norm(std::pow(10, options.clutter_decibels / 20)) / options.scatterers_per_metre;
    for (const double lag : {0.0, 0.5, 2.0, 4.0}) {
        std::complex<double> product = 0;
        double square = 0;
        double count = 0;
        for (double t = 0; t + lag < 9.9; t += 0.37) {
            const Found a = amplitudes(scene, t);
            const Found b = amplitudes(scene, t + lag);
            for (std::size_t k = 0; k < a.size(); ++k) {
                product += a[k].amplitude * std::conj(b[k].amplitude);
                square += std::norm(a[k].amplitude);
                ++count;
            }
        }
        constexpr double finite = 0.06;  // 190 echoes of some five independent amplitudes
        CHECK_WITHIN(product / square, std::complex<double>(std::exp(-lag / 2)), finite);
        // Their envelope's mean square is the level's where a pulse's energy is counted.
        const detail::SkewedEnvelope envelope(options.pulse_skew);
        const double metres = options.settings.depth(
            envelope.energy() * envelope.length(options.settings.sensor.bandwidth));
        constexpr double level = 0.15;  // four deviations of their mean square
        CHECK_WITHIN_RELATIVE(square / count * metres, expected_square, level);
    }
}

TEST_CASE("the tissue's envelope has its level") {
    LayeredSceneOptions options = bare();
    options.artery = false;
    options.scatterers_per_metre = 20e3;
    options.clutter_decibels = -8;
    double square = 0;
    double count = 0;
    for (std::uint64_t seed = 1; seed <= 30; ++seed) {
        const LayeredScene scene(options, seed);
        const SamplingGrid grid = options.settings.grid(880);
        std::vector<double> frame(grid.count);
        scene.add_echoes(0, grid, frame);
        for (std::size_t n = 100; n < 800; ++n) {
            square += 2 * frame[n] * frame[n];
            ++count;
        }
    }
    constexpr double finite = 0.1;  // 30 lines of some twenty independent places: four deviations
    CHECK_WITHIN_RELATIVE(std::sqrt(square / count), std::pow(10, -0.4), finite);
}

TEST_CASE("options of a layered line have their domains") {
    using O = LayeredSceneOptions;
    constexpr double not_a_number = std::numeric_limits<double>::quiet_NaN();
    const auto refuses = [](const O& options, const char* name) {
        CHECK_THROWS_WITH_AS(validate(options), doctest::Contains(name), InvalidInput);
    };
    struct Edge {
        const char* name;
        double O::*option;
        double low, high;  // both allowed
    };
    const std::vector<Edge> edges = {
        {"pulse_skew", &O::pulse_skew, 0, 0.9},
        {"near_share", &O::near_share, 0, 1},
        {"axis_offset", &O::axis_offset, -2.79e-3, 2.79e-3},
        {"strength_change", &O::strength_change, 0, 1},
        {"far_delay", &O::far_delay, 0, 0.1},
        {"far_smoothing", &O::far_smoothing, 0, 0.05},
        {"coupling", &O::coupling, 0, 1},
        {"tissue_lag", &O::tissue_lag, 0, 0.1},
        {"decorrelation", &O::decorrelation, 0, 20},
        {"beside_share", &O::beside_share, 0, 1},
        {"breathing_rate", &O::breathing_rate, 0, 5},
        {"swallow_size", &O::swallow_size, -10e-3, 10e-3},
        {"cough_size", &O::cough_size, -10e-3, 10e-3},
        {"vein_rate", &O::vein_rate, 0, 5},
        {"gain_wander", &O::gain_wander, 0, 0.3},
        {"scatterers_per_metre", &O::scatterers_per_metre, 0, 1e6},
        {"reverberation_at", &O::reverberation_at, 0, 100},
        {"plaque_thickness", &O::plaque_thickness, 0, 1e9},
        {"inner_layer_decibels", &O::inner_layer_decibels, -400, 60},
        {"middle_layer_decibels", &O::middle_layer_decibels, -400, 60},
        {"plaque_decibels", &O::plaque_decibels, -400, 60},
        {"clutter_decibels", &O::clutter_decibels, -400, 60},
        {"vein_decibels", &O::vein_decibels, -400, 60},
        {"reverberation_decibels", &O::reverberation_decibels, -400, 60},
        {"interference_decibels", &O::interference_decibels, -400, 60}};
    for (const Edge& edge : edges) {
        O options;
        options.*edge.option = edge.low;
        CHECK_NOTHROW(validate(options));
        options.*edge.option = edge.high;
        CHECK_NOTHROW(validate(options));
        const double beyond = std::max(1.0, std::abs(edge.high)) * 1e-3;
        options.*edge.option = edge.low - beyond;
        refuses(options, edge.name);
        if (edge.high < 1e9) {
            options.*edge.option = edge.high + beyond;
            refuses(options, edge.name);
        }
        options.*edge.option = not_a_number;
        refuses(options, edge.name);
    }
    for (double O::*option : {&O::tissue_reach, &O::vein_diameter, &O::wall_thickness}) {
        O options;
        options.*option = 0;
        CHECK_THROWS_AS(validate(options), InvalidInput);
    }
    O options;
    options.sub_layers = 2;
    refuses(options, "sub_layers");
    options.sub_layers = 7;
    refuses(options, "sub_layers");
    options = {};
    options.plaque = 2;
    refuses(options, "plaque");
    options = {};
    options.plaque = 1;
    options.plaque_thickness = 3.2e-3;
    refuses(options, "plaque_thickness");
    options = {};
    options.swallow_at = not_a_number;
    refuses(options, "swallow_at");
    options.swallow_at = 1;
    CHECK_NOTHROW(validate(options));
    options.swallow_size = 6e-3;  // takes the walls out of the frame
    refuses(options, "centre_depth");
    options = {};
    options.vein_pulsation = 2.1e-3;
    refuses(options, "vein_pulsation");
    options = {};
    options.vein = true;
    options.vein_depth = 9e-3;
    refuses(options, "vein_depth");  // within the artery
    options.vein_depth = 5.5e-3;
    refuses(options, "vein_depth");  // above the first sample
    options = {};
    options.interference_frequency = 4.2e6;
    CHECK_NOTHROW(validate(options));  // there is no tone
    options.interference_decibels = -20;
    refuses(options, "interference_frequency");
    options.interference_frequency = 63e6;
    refuses(options, "interference_frequency");
    options = {};
    options.duration = 1000;
    options.settings.frame_rate = 100;
    options.decorrelation = 20;
    options.scatterers_per_metre = 1e6;
    refuses(options, "decorrelation");
}

TEST_CASE("the covariance of rhythms is that of many draws") {
    RandomStream random(3);
    constexpr double breathing_rate = 0.27;  // [Hz]
    constexpr int draws = 20000;
    const std::array<detail::LayeredState, 4> states = {{{.beats = 0.2, .time = 0.1},
                                                         {.beats = 0.5, .time = 0.4},
                                                         {.beats = 1.4, .time = 1.5},
                                                         {.beats = 3.2, .time = 3.9}}};
    std::array<std::array<double, 4>, 4> means{};
    for (int n = 0; n < draws; ++n) {
        const detail::EchoRhythm rhythm(random);
        for (std::size_t i = 0; i < states.size(); ++i) {
            for (std::size_t j = 0; j < states.size(); ++j) {
                means[i][j] +=
                    rhythm(states[i], breathing_rate) * rhythm(states[j], breathing_rate) / draws;
            }
        }
    }
    for (std::size_t i = 0; i < states.size(); ++i) {
        for (std::size_t j = 0; j < states.size(); ++j) {
            // A product's standard deviation is about 1: four times that of the mean.
            CHECK_WITHIN(
                means[i][j],
                detail::EchoRhythm::covariance(states[i].beats - states[j].beats,
                                               states[i].time - states[j].time, breathing_rate),
                4 / std::sqrt(draws));
        }
    }
    CHECK_WITHIN(detail::EchoRhythm::covariance(0, 0, breathing_rate), 1.0, 1e-7);
}
