#include "echosieve/motion/pulse_delay.hpp"

#include <array>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numbers>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "echosieve/synthesis/volume_scene.hpp"
#include "motion/wall/pulse_delay.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

RecordingSettings settings(double centre, double bandwidth) {
    return {40e6, 500, 10e-6, {centre, bandwidth}, 1540};
}

// A line of tissue alone: `pulse(u)` is the analytic pulse u after its arrival.
template <class Pulse>
LineHistory speckle_line(const RecordingSettings& s, Pulse pulse, std::uint64_t seed) {
    constexpr std::size_t samples = 1600;
    constexpr int scatterers = 600;
    FrameMatrix<float> frames(80, samples);
    RandomStream random(seed, 0);
    std::vector<double> echoes(samples, 0.0);
    const SamplingGrid grid = s.grid(samples);
    for (int k = 0; k < scatterers; ++k) {
        const double arrival = random.uniform(grid.start_time, grid.end_time());
        const std::complex<double> amplitude{random.normal(), random.normal()};
        for (std::size_t n = 0; n < samples; ++n) {
            echoes[n] += (amplitude * pulse(grid.time(static_cast<double>(n)) - arrival)).real();
        }
    }
    constexpr double noise = 0.05;
    for (std::size_t i = 0; i < frames.frames(); ++i) {
        for (std::size_t n = 0; n < samples; ++n) {
            frames[i][n] = static_cast<float>(echoes[n] + noise * random.normal());
        }
    }
    const Baseband<double> baseband = to_baseband<double>(frames.view(), s);
    return line_history(baseband, std::vector<FrameState>(frames.frames(), FrameState::good));
}

// A wall of two echoes in a gate: outer layer at `depth`, inner one 0.8 mm towards the lumen.
template <class Pulse>
SeparatedWall two_echoes(const LineHistory& line, double depth, double sense, Pulse pulse) {
    const RecordingSettings& s = line.settings;
    constexpr std::size_t samples = 1600;
    FrameMatrix<float> frame(1, samples);
    const SamplingGrid grid = s.grid(samples);
    for (std::size_t n = 0; n < samples; ++n) {
        const double u = grid.time(static_cast<double>(n)) - s.arrival(depth);
        const double inner = u + sense * s.arrival(0.8e-3);
        frame[0][n] =
            static_cast<float>((pulse(u) + std::polar(0.6, 1.0 + sense) * pulse(inner)).real());
    }
    LineHistory alone = line_history(to_baseband<double>(frame.view(), s), {FrameState::good});
    SeparatedWall wall;
    wall.state.sense = sense;
    wall.state.depth = depth;
    wall.layered.gate = gate_spectrum(alone, depth, wall_half_gate(s.sensor));
    wall.layered.fit.spectra = wall.layered.gate.values;
    return wall;
}

struct GaussianPulse {
    RecordingSettings s;
    std::complex<double> operator()(double u) const {
        return value(Gabor<double>{0, s.sensor.centre_frequency, s.sensor.bandwidth}, u);
    }
};
struct CausalPulse {
    RecordingSettings s;
    std::complex<double> operator()(double u) const {
        return value(GammaPulse{0, s.sensor.centre_frequency, s.sensor.bandwidth}, u);
    }
};

template <class Pulse>
PulseDelay estimate(const RecordingSettings& s, std::uint64_t seed) {
    const Pulse pulse{s};
    const LineHistory line = speckle_line(s, pulse, seed);
    SeparatedWalls walls;
    walls.near = two_echoes(line, 18e-3, -1, pulse);
    walls.far = two_echoes(line, 25e-3, 1, pulse);
    return pulse_delay(line, walls);
}

}  // namespace

TEST_CASE("a pulse's delay is where its band-limited envelope peaks") {
    const RecordingSettings s = settings(4e6, 1e6);
    CHECK(envelope_delay({0, true}, s) == 0);
    CHECK(envelope_delay({2, true}, s) == 0);
    // n tau of the whole pulse; the low-pass rounds it off, which moves the peak towards the
    // pulse's centre of gravity, (n + 1) tau.
    for (const int order : {1, 2, 3, 5}) {
        CAPTURE(order);
        const double tau = std::sqrt(std::pow(10, 0.6 / (order + 1)) - 1) /
                           (std::numbers::pi * s.sensor.bandwidth);
        const double delay = envelope_delay({order, false}, s);
        CHECK(delay > order * tau);
        CHECK(delay < (order + 0.5) * tau);
        // It scales with the pulse. The low-pass's taps do not scale exactly: 1 % is theirs.
        CHECK_WITHIN_RELATIVE(envelope_delay({order, false}, settings(8e6, 2e6)), delay / 2, 0.01);
    }
    CHECK_THROWS_WITH_AS(static_cast<void>(envelope_delay({-1, false}, s)),
                         "order = -1: must be zero or more", InvalidInput);
}

TEST_CASE("what lies in the dead zone says nothing of the pulse's shape") {
    const RecordingSettings s = settings(4e6, 1e6);
    const CausalPulse pulse{s};
    LineHistory line = speckle_line(s, pulse, 3);
    SeparatedWalls walls;
    walls.near = two_echoes(line, 18e-3, -1, pulse);
    walls.far = two_echoes(line, 25e-3, 1, pulse);
    const auto zone = [&](double dead_zone) {
        line.dead_zone = dead_zone;
        return pulse_evidence(line, walls);
    };
    const Eigen::ArrayXd shallow = zone(3e-3);
    const Eigen::ArrayXd deep = zone(8e-3);
    // Ring-down that hardly falls off, strong, over the first 7 mm.
    line.samples.leftCols(held_whole(line.index(line.first_depth() + 7e-3), Eigen::Index{0},
                                     line.samples.cols())) += 100;
    CHECK((zone(8e-3) - deep).abs().maxCoeff() == 0);
    CHECK((zone(3e-3) - shallow).abs().maxCoeff() > 1);
}

TEST_CASE("evidence becomes a delay, and none of it leaves the prior") {
    const RecordingSettings s = settings(4e6, 1e6);
    const auto count = static_cast<Eigen::Index>(pulse_shapes.size());
    const PulseDelayOptions options;
    const PulseDelay prior = weigh_delays(Eigen::ArrayXd::Zero(count), s);
    CHECK(prior.source == DelaySource::estimated);
    constexpr double rounding = 1e-12;
    CHECK_WITHIN(prior.zero_phase, options.gaussian_prior + options.zero_phase_prior, rounding);
    double mean = 0;
    for (const PulseShape& shape : pulse_shapes) {
        mean += envelope_delay(shape, s) * (1 - prior.zero_phase) / 3;
    }
    CHECK_WITHIN_RELATIVE(prior.delay, mean, rounding);
    for (Eigen::Index m = 0; m < count; ++m) {
        Eigen::ArrayXd sure = Eigen::ArrayXd::Constant(count, 1e4);
        sure[m] = 0;
        const PulseDelay delay = weigh_delays(sure, s);
        const PulseShape& shape = pulse_shapes[static_cast<std::size_t>(m)];
        CHECK_WITHIN(delay.delay, envelope_delay(shape, s), 1e-15);
        // A quarter of what was believed before stays, whatever the evidence.
        CHECK_WITHIN(delay.zero_phase, 0.25 * prior.zero_phase + (shape.zero_phase ? 0.75 : 0.0),
                     rounding);
        double square = 1e-14;  // (0.1 / bandwidth)^2
        for (Eigen::Index n = 0; n < count; ++n) {
            const PulseShape& other = pulse_shapes[static_cast<std::size_t>(n)];
            const double believed = other.order == 0   ? options.gaussian_prior
                                    : other.zero_phase ? options.zero_phase_prior / 3
                                                       : (1 - prior.zero_phase) / 3;
            const double kept = 0.25 * believed + (n == m ? 0.75 : 0.0);
            // Of zero phase: any delay up to 1 / bandwidth alike.
            constexpr int places = 1000;
            for (int k = 0; k < places; ++k) {
                const double late = other.zero_phase ? (k + 0.5) / places / s.sensor.bandwidth
                                                     : envelope_delay(other, s);
                square += kept / places * std::pow(late - delay.delay, 2);
            }
        }
        CHECK_WITHIN_RELATIVE(delay.deviation, std::sqrt(square), 1e-6);  // of the places
    }
    // Two shapes equally likely, half the difference of their delays apart from their mean: more
    // than of either alone.
    Eigen::ArrayXd two = Eigen::ArrayXd::Constant(count, 1e4);
    two[0] = std::log(options.gaussian_prior / ((1 - prior.zero_phase) / 3));
    two[count - 1] = 0;
    const double apart = envelope_delay({3, false}, s) / 2;
    CHECK_WITHIN_RELATIVE(weigh_delays(two, s).delay, apart, 1e-9);
    CHECK(weigh_delays(two, s).deviation > std::sqrt(0.75) * apart);
    CHECK_THROWS_AS(static_cast<void>(weigh_delays(Eigen::ArrayXd::Zero(2), s)), InvalidInput);
}

TEST_CASE("a symmetric pulse may come as late as half the shortest pulse's length") {
    const RecordingSettings s = settings(4e6, 1e6);
    Eigen::ArrayXd gaussian = Eigen::ArrayXd::Constant(pulse_shapes.size(), 1e4);
    gaussian[0] = 0;
    const PulseDelay delay = weigh_delays(gaussian, s);
    CHECK(delay.delay < 1e-15);
    // A squared sine of the same bandwidth peaks after 1 / bandwidth, which no echo shows.
    const double late = 1 / s.sensor.bandwidth;
    CHECK(1.96 * delay.deviation > late);
    CHECK(delay.deviation < 0.7 * late);
    // Where the pulse is known to rise faster than it falls, its arrival shows.
    Eigen::ArrayXd causal = Eigen::ArrayXd::Constant(pulse_shapes.size(), 1e4);
    causal[5] = 0;
    REQUIRE(!pulse_shapes[5].zero_phase);
    CHECK(weigh_delays(causal, s).deviation < 0.25 * late);
}

TEST_CASE("pulses of both kinds are told apart by clear walls in speckle") {
    for (const double bandwidth : {1e6, 3e6}) {
        CAPTURE(bandwidth);
        const RecordingSettings s = settings(bandwidth == 1e6 ? 4e6 : 7.5e6, bandwidth);
        const double causal = envelope_delay({2, false}, s);
        for (const std::uint64_t seed : {1U, 2U, 3U}) {
            CAPTURE(seed);
            const PulseDelay none = estimate<GaussianPulse>(s, seed);
            const PulseDelay late = estimate<CausalPulse>(s, seed);
            CHECK(none.source == DelaySource::estimated);
            CHECK(none.zero_phase > 0.85);  // a quarter of the prior stays: at most 0.91
            CHECK(late.zero_phase < 0.25);  // and at least 0.16
            // What separates neighbouring orders is 0.1 / bandwidth.
            CHECK_WITHIN(none.delay, 0.0, 0.1 / bandwidth);
            CHECK_WITHIN(late.delay, causal, 0.15 / bandwidth);
            CHECK(late.deviation < 0.35 / bandwidth);
            CHECK(std::abs(late.delay - causal) < late.deviation);
            CHECK(std::abs(none.delay) < none.deviation);
        }
    }
}

TEST_CASE("depths lose the delay that is given, the diameter none") {
    const DrawnScene<VolumeScene> drawn = draw_scene<VolumeScene>(204);
    SyntheticRecording made = render_drawn<std::int16_t>(drawn);
    TrackOptions options;
    options.pulse.estimate = false;
    const ArteryMotion raw = track_artery(made.recording, options);
    REQUIRE(raw.usable());
    CHECK(raw.pulse_delay.source == DelaySource::unknown);
    CHECK(raw.pulse_delay.delay == 0);
    constexpr double given = 0.5e-6;  // [s]
    made.recording.settings.sensor.pulse_delay = given;
    const ArteryMotion moved = track_artery(made.recording);
    REQUIRE(moved.usable());
    CHECK(moved.pulse_delay.source == DelaySource::given);
    CHECK(moved.pulse_delay.delay == given);
    CHECK(moved.pulse_delay.deviation == 0);
    const double lag = made.recording.settings.depth(given);
    constexpr double rounding = 1e-15;  // [m]
    CHECK_WITHIN(moved.near.depth, raw.near.depth - lag, rounding);
    CHECK_WITHIN(moved.far.depth, raw.far.depth - lag, rounding);
    REQUIRE(raw.frames.size() == moved.frames.size());
    double largest = 0;
    for (std::size_t i = 0; i < raw.frames.size(); ++i) {
        largest =
            std::max({largest, std::abs(moved.frames[i].near_wall - raw.frames[i].near_wall + lag),
                      std::abs(moved.frames[i].far_wall - raw.frames[i].far_wall + lag),
                      std::abs(moved.frames[i].diameter - raw.frames[i].diameter)});
    }
    CHECK_WITHIN(largest, 0.0, rounding);
    CHECK(moved.near.reference[0].atom.arrival == raw.near.reference[0].atom.arrival);
}

TEST_CASE("options of the pulse's delay outside their domain are refused") {
    const auto refused = [](auto change) {
        PulseDelayOptions options;
        change(options);
        CHECK_THROWS_AS(validate(options), InvalidInput);
    };
    constexpr double nan = std::numeric_limits<double>::quiet_NaN();
    refused([](auto& o) { o.gaussian_prior = 1.1; });
    refused([](auto& o) { o.gaussian_prior = nan; });
    refused([](auto& o) { o.zero_phase_prior = 0.5; });
    refused([](auto& o) { o.wall_weight = -1; });
    refused([](auto& o) { o.tissue_weight = nan; });
    refused([](auto& o) { o.floor = 0; });
    refused([](auto& o) { o.noise_left = 0; });
    refused([](auto& o) { o.piece = 3; });
    refused([](auto& o) { o.largest_shift = 1e4; });
    refused([](auto& o) { o.largest_shift = nan; });
    CHECK(describe(DelaySource::given) == "given");
    CHECK(describe(DelaySource::estimated) == "estimated");
    CHECK(describe(DelaySource::unknown) == "unknown");
}
