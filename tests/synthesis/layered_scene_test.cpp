#include "echosieve/synthesis/layered_scene.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <span>
#include <vector>

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

static_assert(RenderableScene<LayeredScene>);

namespace {

constexpr double rounding = 1e-12;

// The real echo as its formula says, sample by sample.
double direct(const LayeredSceneOptions& options, const detail::LayeredEcho& echo, double time) {
    const detail::SkewedEnvelope envelope(options.pulse_skew);
    const double u = time - options.settings.arrival(echo.depth);
    const Sensor& sensor = options.settings.sensor;
    return envelope(u / envelope.length(sensor.bandwidth)) *
           (echo.amplitude * std::polar(1.0, 2 * std::numbers::pi * sensor.centre_frequency * u))
               .real();
}

}  // namespace

TEST_CASE("the skewed envelope peaks at 1 where it says, and is the sum of its waves") {
    for (const double skew : {0.0, 0.2, 0.5, 0.9}) {
        const detail::SkewedEnvelope envelope(skew);
        CHECK_WITHIN(envelope(envelope.peak()), 1.0, rounding);
        CHECK((skew == 0 ? envelope.peak() == 0.5 : envelope.peak() < 0.5));
        CHECK(envelope(0) == 0);
        CHECK(envelope(1) == 0);
        CHECK(envelope(-0.1) == 0);
        double energy = 0;
        constexpr int steps = 2000;
        for (int n = 0; n < steps; ++n) {
            const double x = (n + 0.5) / steps;
            std::complex<double> sum = 0;
            for (int m = -detail::SkewedEnvelope::highest; m <= detail::SkewedEnvelope::highest;
                 ++m) {
                sum += envelope
                           .waves()[static_cast<std::size_t>(m + detail::SkewedEnvelope::highest)] *
                       std::polar(1.0, std::numbers::pi * m * x);
            }
            CHECK_WITHIN(sum, std::complex<double>(envelope(x)), rounding);
            CHECK(envelope(x) <= 1);
            energy += envelope(x) * envelope(x) / steps;
        }
        constexpr double quadrature = 1e-9;  // of a smooth function that is 0 at both ends
        CHECK_WITHIN(energy, envelope.energy(), quadrature);
    }
}

TEST_CASE("the skewed pulse has its bandwidth") {
    for (const double skew : {0.0, 0.5, 0.9}) {
        const detail::SkewedEnvelope envelope(skew);
        constexpr double bandwidth = 1e6;
        const double length = envelope.length(bandwidth);
        // The spectrum by summing, not by its closed form.
        const auto spectrum = [&](double frequency) {
            std::complex<double> sum = 0;
            constexpr int steps = 4000;
            for (int n = 0; n < steps; ++n) {
                const double u = (n + 0.5) / steps * length;
                sum +=
                    envelope(u / length) * std::polar(1.0, -2 * std::numbers::pi * frequency * u);
            }
            return std::abs(sum);
        };
        constexpr double quadrature = 1e-6;
        CHECK_WITHIN_RELATIVE(spectrum(bandwidth / 2) / spectrum(0), std::pow(10, -0.3),
                              quadrature);
        CHECK_WITHIN_RELATIVE(spectrum(-bandwidth / 2) / spectrum(0), std::pow(10, -0.3),
                              quadrature);
        // Nothing passes -6 dB again beyond.
        for (double f = bandwidth / 2; f < 6 * bandwidth; f += 0.05 * bandwidth) {
            CHECK(spectrum(f) <= spectrum(bandwidth / 2) * (1 + quadrature));
        }
    }
}

TEST_CASE("a frame is the sum of its echoes, those that its ends cut included") {
    LayeredSceneOptions options = test::quick_scene<LayeredSceneOptions>();
    options.vein = true;
    options.reverberation_decibels = -10;
    options.reverberation_at = 21.8e-3;
    options.decorrelation = 2;
    for (const double skew : {0.0, 0.6}) {
        options.pulse_skew = skew;
        const LayeredScene scene(options, 5);
        const SamplingGrid grid = options.settings.grid(880);
        for (const double time : {0.0, 0.17, 0.43}) {
            std::vector<double> frame(grid.count);
            scene.add_echoes(time, grid, frame);
            std::vector<double> expected(grid.count);
            std::size_t count = 0;
            scene.for_each_echo(time, [&](const detail::LayeredEcho& echo) {
                ++count;
                for (std::size_t n = 0; n < grid.count; ++n) {
                    expected[n] += direct(options, echo, grid.time(static_cast<double>(n)));
                }
            });
            CHECK(count == scene.echo_count());
            constexpr double summing = 1e-10;  // of hundreds of echoes, carried over the frame
            for (std::size_t n = 0; n < grid.count; ++n) {
                CHECK_WITHIN(frame[n], expected[n], summing);
            }
        }
    }
}

TEST_CASE("outer layers answer from the truth's depths, peak_lag below them") {
    LayeredSceneOptions options = bare();
    options.axis_offset = 1e-3;
    options.inner_layer_decibels = -400;
    options.middle_layer_decibels = -400;
    options.strength_change = 0;
    const LayeredScene scene(options, 7);
    const SyntheticRecording made = render<float>(scene, 7);
    const SamplingGrid grid = options.settings.grid(floats(made).samples());
    const detail::SkewedEnvelope envelope(options.pulse_skew);
    const double length = envelope.length(options.settings.sensor.bandwidth);
    CHECK_WITHIN(made.truth.peak_lag, options.settings.depth(envelope.peak() * length), rounding);
    for (const std::size_t i : {0U, 33U, 61U, 99U}) {
        const WallDepths& walls = made.truth.walls[i];
        for (const double depth : {walls.near_outer, walls.far_outer}) {
            // Projected onto the pulse at the truth: all of the echo, of the peak of a wall.
            std::complex<double> product = 0;
            double own = 0;
            for (std::size_t n = 0; n < grid.count; ++n) {
                const double u =
                    grid.time(static_cast<double>(n)) - options.settings.arrival(depth);
                const std::complex<double> pulse =
                    envelope(u / length) *
                    std::polar(1.0,
                               2 * std::numbers::pi * options.settings.sensor.centre_frequency * u);
                product += static_cast<double>(floats(made)[i][n]) * std::conj(pulse);
                own += std::norm(pulse);
            }
            // What of the real echo is its analytic signal's mirror: 1e-2 of a pulse of four
            // cycles.
            constexpr double mirrored = 0.02;
            CHECK_WITHIN_RELATIVE(2 * std::abs(product) / own, RenderOptions{}.wall_counts,
                                  mirrored);
        }
    }
}

TEST_CASE("layers of a wall keep its cross-section") {
    const LayeredSceneOptions options = bare();
    const double inner = options.diameter / 2;
    for (const double wave : {0.0, 0.3, 1.0}) {
        const auto radius = [&](int side, double rest) {
            const double axis =
                options.centre_depth + (0.5 - options.near_share) * options.distension * wave;
            return side * (detail::layer_depth(options, side, rest, wave) - axis);
        };
        for (const int side : {-1, 1}) {
            CHECK_WITHIN(radius(side, inner), inner + options.distension * wave / 2, rounding);
            for (const double rest : {inner + 0.1e-3, inner + 0.65e-3}) {
                CHECK_WITHIN(std::pow(radius(side, rest), 2) - std::pow(radius(side, inner), 2),
                             rest * rest - inner * inner, rounding);
            }
        }
    }
}

TEST_CASE("a line beside the axis sees a chord") {
    LayeredSceneOptions options = bare();
    options.diameter = 6.5e-3;
    struct Chord {
        double offset, change;
    };
    for (const Chord& chord : {Chord{0.5e-3, -0.012}, {1e-3, -0.049}, {-1.5e-3, -0.113}}) {
        options.axis_offset = chord.offset;
        const double seen = detail::layer_depth(options, 1, options.diameter / 2, 0) -
                            detail::layer_depth(options, -1, options.diameter / 2, 0);
        const double x = chord.offset / (options.diameter / 2);
        CHECK_WITHIN(seen, options.diameter * std::sqrt(1 - x * x), rounding);
        constexpr double three_digits = 5e-4;
        CHECK_WITHIN(seen / options.diameter - 1, chord.change, three_digits);
        // And strain / (1 - x^2), for a small one.
        constexpr double small = 1e-4;
        options.distension = 2 * small;
        const double strained = detail::layer_depth(options, 1, options.diameter / 2, small) -
                                detail::layer_depth(options, -1, options.diameter / 2, small);
        const double strain = options.distension * small / options.diameter;
        constexpr double second_order = 1e-4;
        CHECK_WITHIN_RELATIVE((strained / seen - 1) * (1 - x * x), strain, second_order);
        options.distension = bare().distension;
    }
}

TEST_CASE("each layer's echo changes by its rms, and not as another's") {
    LayeredSceneOptions options = bare();
    options.duration = 400;
    options.sub_layers = 6;
    options.strength_change = 0.3;
    std::vector<std::vector<double>> courses;
    std::size_t layers = 0;
    for (std::uint64_t seed = 1; seed <= 4; ++seed) {
        const LayeredScene scene(options, seed);
        const auto rest =
            echoes_of(LayeredScene(test::without_change(options), seed), 0, LayeredSource::wall);
        layers = rest.size();
        const std::size_t first = courses.size();
        courses.resize(first + layers);
        for (double t = 0; t < options.duration; t += 0.0971) {
            const auto now = echoes_of(scene, t, LayeredSource::wall);
            for (std::size_t k = 0; k < layers; ++k) {
                const std::complex<double> ratio = now[k].amplitude / rest[k].amplitude;
                CHECK_WITHIN(ratio.imag(), 0.0, rounding);
                courses[first + k].push_back(ratio.real() - 1);
            }
        }
    }
    CHECK(layers == 12);
    const auto product = [](const std::vector<double>& a, const std::vector<double>& b) {
        double sum = 0;
        for (std::size_t i = 0; i < a.size(); ++i) {
            sum += a[i] * b[i];
        }
        return sum / static_cast<double>(a.size());
    };
    double square_correlation = 0;
    double pairs = 0;
    for (std::size_t k = 0; k < courses.size(); ++k) {
        const double rms = std::sqrt(product(courses[k], courses[k]));
        constexpr double finite_time = 0.05;  // twenty slow waves and more
        CHECK_WITHIN_RELATIVE(rms, options.strength_change, finite_time);
        for (std::size_t j = k + 1; j < courses.size() && j / layers == k / layers; ++j) {
            const double r =
                product(courses[k], courses[j]) / rms / std::sqrt(product(courses[j], courses[j]));
            square_correlation += r * r;
            ++pairs;
        }
    }
    // Independent waves of six phases: the mean square is about 1/8 x a half; alike, it would be 1.
    CHECK(std::sqrt(square_correlation / pairs) < 0.4);
}

TEST_CASE("the far wall's pulse comes later and is duller") {
    LayeredSceneOptions options = test::steady(bare());
    options.far_delay = 8e-3;
    options.far_smoothing = 0;
    const LayeredScene late(options, 3);
    for (double t = 0.2; t < 2; t += 0.05) {
        const WallDepths now = late.walls(t);
        const WallDepths before = late.walls(t - options.far_delay);
        CHECK_WITHIN(
            (now.far_inner - options.centre_depth - options.diameter / 2) /
                (1 - options.near_share),
            -(before.near_inner - options.centre_depth + options.diameter / 2) / options.near_share,
            rounding);
    }
    options.far_smoothing = 20e-3;
    const LayeredScene dull(options, 3);
    const auto far_inner = [](const LayeredScene& scene) {
        return [&scene](double t) { return scene.walls(t).far_inner; };
    };
    for (const int harmonic : {1, 5}) {
        const auto sharp = test::harmonic(options, harmonic, far_inner(late));
        const auto smooth = test::harmonic(options, harmonic, far_inner(dull));
        const double omega = 2 * std::numbers::pi * options.pulse.heart_rate * harmonic;
        // A logistic distribution's characteristic function; its 32 delays hold its tails less.
        const double x = std::numbers::sqrt3 * omega * options.far_smoothing;
        constexpr double tails = 0.02;
        CHECK_WITHIN(std::abs(smooth) / std::abs(sharp), x / std::sinh(x), tails);
        constexpr double symmetric = 1e-3;  // [rad]
        CHECK_WITHIN(std::arg(smooth / sharp), 0.0, symmetric);
    }
}

TEST_CASE("tissue follows the wall late, and less the farther it is") {
    LayeredSceneOptions options = test::steady(bare());
    options.scatterers_per_metre = 3e3;
    options.far_delay = 0;
    options.far_smoothing = 0;
    for (const double lag : {0.0, 10e-3, 25e-3}) {
        options.tissue_lag = lag;
        const LayeredScene scene(options, 4);
        const auto rest = echoes_of(scene, 0, LayeredSource::tissue);
        REQUIRE(rest.size() > 10);
        const double outer = options.diameter / 2 + options.wall_thickness;
        for (std::size_t k = 0; k < rest.size(); ++k) {
            const bool above = rest[k].depth < options.centre_depth;
            const auto wall = test::harmonic(options, 1, [&](double t) {
                return above ? scene.walls(t).near_outer : scene.walls(t).far_outer;
            });
            double depth = 0;  // at rest: the mean wave's motion is small beside the reach
            const auto tissue = test::harmonic(options, 1, [&](double t) {
                depth = echoes_of(scene, t, LayeredSource::tissue)[k].depth;
                return depth;
            });
            const double omega = 2 * std::numbers::pi * options.pulse.heart_rate;
            const double late = std::arg(wall / tissue) / omega;
            // atan(omega lag) / omega is 1 % less at 25 ms; delays beyond the last count as less.
            constexpr double low_pass = 0.03;
            constexpr double second_order = 1e-4;  // [s], of a wall's own harmonics
            CHECK_WITHIN(late, lag, low_pass * lag + second_order);
            const double beside = std::abs(depth - options.centre_depth) - outer;
            const double part = options.coupling * std::exp(-beside / options.tissue_reach);
            constexpr double moved = 0.1;  // tissue's depth at rest is known to its motion
            CHECK_WITHIN_RELATIVE(std::abs(tissue / wall) * std::hypot(1, omega * lag), part,
                                  moved);
        }
    }
}

TEST_CASE("the reverberation moves twice as far as the near wall") {
    LayeredSceneOptions options = bare();
    options.breathing = 0.4e-3;
    CHECK(echoes_of(LayeredScene(options, 6), 0, LayeredSource::reverberation).empty());
    options.reverberation_decibels = -12;
    const LayeredScene scene(options, 6);
    const double before = scene.walls(0).near_outer;
    const auto first = echoes_of(scene, 0, LayeredSource::reverberation);
    REQUIRE(first.size() == 1);
    CHECK_WITHIN(std::abs(first[0].amplitude), std::pow(10, -0.6), rounding);
    for (double t = 0; t < 0.5; t += 0.01) {
        const Found echo = echoes_of(scene, t, LayeredSource::reverberation);
        CHECK_WITHIN(echo[0].depth - first[0].depth, 2 * (scene.walls(t).near_outer - before),
                     rounding);
    }
    // It lies where it is told, when the near wall is at rest.
    const double rest = options.centre_depth - options.diameter / 2 - options.wall_thickness;
    CHECK_WITHIN(first[0].depth - 2 * (before - rest), options.reverberation_at, rounding);
}

TEST_CASE("the same seed gives the same bits, another one others") {
    LayeredSceneOptions options = test::quick_scene<LayeredSceneOptions>();
    options.duration = 0.05;
    options.decorrelation = 1;
    const auto values = [&](std::uint64_t seed) {
        const auto made = render<float>(LayeredScene(options, seed), seed);
        const auto all = floats(made).values();
        return std::vector<float>(all.begin(), all.end());
    };
    CHECK(values(1) == values(1));
    CHECK(values(1) != values(2));
}
