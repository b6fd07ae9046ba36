#include "echosieve/condition/sensor_spectrum.hpp"

#include <limits>

#include "condition/lines.hpp"
#include "support/check.hpp"

using namespace echosieve;
using test::scatterers;
using test::settings_of;

namespace {

constexpr std::size_t samples = 2435;
const std::pair<double, double> sensors[] = {{4e6, 1e6}, {5e6, 3e6}, {7.5e6, 4.5e6}};

// `count` frames of one line of echoes, each with noise of its own.
FrameMatrix<float> frames_of(const std::vector<double>& line, std::size_t count, double noise,
                             RandomStream& random) {
    FrameMatrix<float> frames(count, line.size());
    for (std::size_t i = 0; i < count; ++i) {
        for (std::size_t n = 0; n < line.size(); ++n) {
            frames[i][n] = static_cast<float>(line[n] + noise * random.normal());
        }
    }
    return frames;
}

struct Errors {
    int usable = 0;
    double centre_mean = 0;
    double bandwidth_mean = 0;
    double centre_rms = 0;  // all in bandwidths
    double bandwidth_rms = 0;
    double centre_score = 0;  // rms of error / stated deviation
    double bandwidth_score = 0;
};

Errors errors_of(double centre, double bandwidth, double noise, std::size_t frame_count,
                 int draws) {
    Errors errors;
    const RecordingSettings settings = settings_of(centre, bandwidth);
    const SamplingGrid grid = settings.grid(samples);
    for (int draw = 0; draw < draws; ++draw) {
        RandomStream random(11, static_cast<std::uint64_t>(draw));
        const auto line = test::line_of(scatterers(settings.sensor, grid, 200, random), grid);
        const auto frames = frames_of(line, frame_count, noise, random);
        const SensorEstimate estimate = estimate_sensor(frames.view(), grid);
        if (!estimate.usable()) {
            continue;
        }
        ++errors.usable;
        const double dc = estimate.sensor.centre_frequency - centre;
        const double db = estimate.sensor.bandwidth - bandwidth;
        errors.centre_mean += dc / bandwidth;
        errors.bandwidth_mean += db / bandwidth;
        errors.centre_rms += dc * dc / (bandwidth * bandwidth);
        errors.bandwidth_rms += db * db / (bandwidth * bandwidth);
        errors.centre_score += std::pow(dc / estimate.centre_std, 2);
        errors.bandwidth_score += std::pow(db / estimate.bandwidth_std, 2);
    }
    const double n = errors.usable;
    for (double* mean : {&errors.centre_mean, &errors.bandwidth_mean}) {
        *mean /= n;
    }
    for (double* rms : {&errors.centre_rms, &errors.bandwidth_rms, &errors.centre_score,
                        &errors.bandwidth_score}) {
        *rms = std::sqrt(*rms / n);
    }
    return errors;
}

}  // namespace

TEST_CASE("the sensor is found with the deviation that is stated") {
    const int draws = 24;
    for (const auto& [centre, bandwidth] : sensors) {
        CAPTURE(centre);
        const Errors errors = errors_of(centre, bandwidth, 0.1, 4, draws);
        CHECK(errors.usable == draws);
        // The documented accuracy, with the line's whole 19.5 us for T. A deviation estimated
        // from 24 draws is itself off by 14 %, hence the factor 1.5, 3.5 of these.
        const double cells = 19.5e-6 * bandwidth;
        CHECK(errors.centre_rms <= 1.5 * 0.14 / std::sqrt(cells));
        CHECK(errors.bandwidth_rms <= 1.5 * 0.29 / std::sqrt(cells));
        CHECK(errors.centre_score <= 1.5);
        CHECK(errors.centre_score >= 1 / 1.6);
        CHECK(errors.bandwidth_score <= 1.5);
        CHECK(errors.bandwidth_score >= 1 / 1.6);
        // No bias beyond the documented one and four deviations of the mean.
        CHECK(std::abs(errors.centre_mean) <= 4 * 0.14 / std::sqrt(cells * draws));
        CHECK(std::abs(errors.bandwidth_mean) <= 0.6 / cells + 4 * 0.29 / std::sqrt(cells * draws));
    }
}

TEST_CASE("strong noise is averaged out over frames") {
    // At the band's centre the noise has about as much power as the echoes.
    const int draws = 6;
    const Errors errors = errors_of(4e6, 1e6, 3, 64, draws);
    CHECK(errors.usable == draws);
    CHECK(errors.centre_rms <= 0.1);
    CHECK(errors.bandwidth_rms <= 0.25);
}

TEST_CASE("a band far below the noise is none, however well its frames average the noise out") {
    const RecordingSettings settings = settings_of(4e6, 1e6);
    const SamplingGrid grid = settings.grid(samples);
    RandomStream random(15);
    const auto line = test::line_of(scatterers(settings.sensor, grid, 200, random), grid);
    const auto frames = frames_of(line, 256, 28, random);
    SensorSpectrumOptions faint;
    faint.least_signal = 0.1;
    const SensorEstimate found = estimate_sensor(frames.view(), grid, faint);
    CHECK(found.usable());
    CHECK_WITHIN(found.sensor.centre_frequency, 4e6, 0.1 * 1e6);
    REQUIRE(found.signal_to_noise < 0.95);
    const SensorEstimate refused = estimate_sensor(frames.view(), grid);
    CHECK(refused.status == SensorStatus::no_band);
    CHECK(refused.signal_to_noise == found.signal_to_noise);
}

TEST_CASE("the deviation that is stated counts noise, and that frames average it") {
    // 60 % of one frame's variance is noise, of 64 frames' 1 %: scores are 0.87 to 1.07 here, and
    // 1.6 or 0.5 if the one or the other were not counted. Two standard deviations of a score of
    // 24 draws are 0.28.
    constexpr double most = 1.3;
    double one = 0;
    for (const std::size_t frames : {1U, 64U}) {
        CAPTURE(frames);
        const Errors errors = errors_of(4e6, 2e6, 2.5, frames, 24);
        REQUIRE(errors.usable == 24);
        for (const double score : {errors.centre_score, errors.bandwidth_score}) {
            CHECK(score <= most);
            CHECK(score >= 1 / most);
        }
        if (frames == 1) {
            one = errors.centre_rms;
        }
        CHECK((frames == 1 || errors.centre_rms < 0.8 * one));
    }
}

TEST_CASE("noise alone, nothing and a pure tone give no band") {
    const SamplingGrid grid = settings_of(4e6, 1e6).grid(samples);
    for (std::uint64_t draw = 0; draw < 10; ++draw) {
        RandomStream random(12, draw);
        const auto frames =
            frames_of(std::vector<double>(samples, 0), draw % 2 ? 1 : 12, 1, random);
        const SensorEstimate estimate = estimate_sensor(frames.view(), grid);
        CHECK_FALSE(estimate.usable());
        CHECK(estimate.sensor.centre_frequency == 0);
    }
    const FrameMatrix<float> silent(3, samples);
    CHECK(estimate_sensor(silent.view(), grid).status == SensorStatus::no_band);
    const FrameMatrix<float> none(0, samples);
    CHECK(estimate_sensor(none.view(), grid).status == SensorStatus::no_band);
    FrameMatrix<std::int16_t> constant(2, samples);
    FrameMatrix<float> tone(2, samples);
    for (std::size_t i = 0; i < 2; ++i) {
        for (std::size_t n = 0; n < samples; ++n) {
            constant[i][n] = 1234;
            tone[i][n] = static_cast<float>(
                std::cos(2 * std::numbers::pi * 4e6 * grid.time(static_cast<double>(n))));
        }
    }
    CHECK(estimate_sensor(constant.view(), grid).status == SensorStatus::no_band);
    CHECK_FALSE(estimate_sensor(tone.view(), grid).usable());
}

TEST_CASE("a band that no sensor may have is none") {
    const RecordingSettings settings = settings_of(4e6, 1e6);
    SamplingGrid grid = settings.grid(samples);
    RandomStream random(13);
    const auto line = test::line_of(scatterers(settings.sensor, grid, 200, random), grid);
    const auto frames = frames_of(line, 12, 0.01, random);
    CHECK(estimate_sensor(frames.view(), grid).usable());
    for (const double scale : {1e3, 1e-3}) {  // centres of 4 GHz and of 4 kHz
        CAPTURE(scale);
        grid.sampling_rate = scale * settings.sampling_rate;
        SensorSpectrumOptions options;
        options.lowest_frequency *= scale;
        const SensorEstimate estimate = estimate_sensor(frames.view(), grid, options);
        CHECK(estimate.status == SensorStatus::no_band);
        CHECK(estimate.sensor.centre_frequency == 0);
    }
}

TEST_CASE("an offset, the scale, lost frames and a strong start of the line do not mislead") {
    const RecordingSettings settings = settings_of(5e6, 3e6);
    const SamplingGrid grid = settings.grid(samples);
    RandomStream random(13);
    const auto line = test::line_of(scatterers(settings.sensor, grid, 200, random), grid);
    auto frames = frames_of(line, 5, 0.01, random);
    const SensorEstimate plain = estimate_sensor(frames.view(), grid);
    REQUIRE(plain.usable());
    CHECK(plain.frames == 5);

    for (auto& [offset, scale] : {std::pair{0.0F, 1e-9F}, {0.0F, 1e20F}, {50.0F, 1.0F}}) {
        FrameMatrix<float> other(5, samples);
        for (std::size_t i = 0; i < 5; ++i) {
            for (std::size_t n = 0; n < samples; ++n) {
                other[i][n] = frames[i][n] * scale + offset;
            }
        }
        const SensorEstimate estimate = estimate_sensor(other.view(), grid);
        CHECK(estimate.usable());
        // float samples; the last step is below 1e-5 s
        CHECK_WITHIN_RELATIVE(estimate.sensor.centre_frequency, plain.sensor.centre_frequency,
                              1e-4);
        CHECK_WITHIN_RELATIVE(estimate.sensor.bandwidth, plain.sensor.bandwidth, 1e-4);
    }
    frames[2][100] = std::numeric_limits<float>::quiet_NaN();
    frames[4][0] = std::numeric_limits<float>::infinity();
    const SensorEstimate fewer = estimate_sensor(frames.view(), grid);
    CHECK(fewer.frames == 3);
    CHECK_WITHIN_RELATIVE(fewer.sensor.centre_frequency, plain.sensor.centre_frequency, 0.01);

    // A ring-down at another frequency, 30 times as strong: seen whole, and gated out.
    FrameMatrix<float> ringing(1, samples);
    for (std::size_t n = 0; n < samples; ++n) {
        const double t = static_cast<double>(n) / settings.sampling_rate;
        ringing[0][n] = static_cast<float>(line[n] + 100 * std::exp(-t / 0.5e-6) *
                                                         std::cos(2 * std::numbers::pi * 3e6 * t));
    }
    SensorSpectrumOptions gated;
    gated.gate = Gate{grid.time(500), grid.end_time()};
    const SensorEstimate beyond = estimate_sensor(ringing.view(), grid, gated);
    CHECK(beyond.usable());
    CHECK(std::abs(beyond.sensor.centre_frequency - 5e6) <= 4 * beyond.centre_std);
    const SensorEstimate whole = estimate_sensor(ringing.view(), grid);
    CHECK(whole.usable());
    CHECK(std::abs(whole.sensor.centre_frequency - 5e6) <= 0.15 * 3e6);
}

TEST_CASE("attenuation lowers the centre as documented") {
    const RecordingSettings settings = settings_of(5e6, 3e6);
    const SamplingGrid grid = settings.grid(samples);
    const double b = 0.3e-6;  // exp(-b f)
    const double shift = 0.18 * 3e6 * 3e6 * b;
    double plain = 0;
    double attenuated = 0;
    for (std::uint64_t draw = 0; draw < 6; ++draw) {
        RandomStream random(14, draw);
        auto echoes = scatterers(settings.sensor, grid, 200, random);
        auto frames = frames_of(test::line_of(echoes, grid), 1, 0.001, random);
        plain += estimate_sensor(frames.view(), grid).sensor.centre_frequency / 6;
        // A Gaussian spectrum times exp(-b f) is a Gaussian spectrum, lower by
        // b (B/2)^2 / (2 ln 10^0.3).
        for (auto& echo : echoes) {
            echo.atom.centre_frequency -= b * 1.5e6 * 1.5e6 / (2 * ln_six_decibels);
        }
        frames = frames_of(test::line_of(echoes, grid), 1, 0.001, random);
        attenuated += estimate_sensor(frames.view(), grid).sensor.centre_frequency / 6;
    }
    CHECK_WITHIN(plain - attenuated, shift, 0.05 * shift);
}

TEST_CASE("the sensor estimate refuses what it can't look at") {
    const SamplingGrid grid = settings_of(4e6, 1e6).grid(100);
    const FrameMatrix<float> frames(1, 100);
    const auto with = [&](auto change) {
        SensorSpectrumOptions options;
        change(options);
        return estimate_sensor(frames.view(), grid, options);
    };
    CHECK_THROWS_WITH_AS(static_cast<void>(estimate_sensor(frames.view(), grid.part(0, 99))),
                         "count = 99: must equal the frames' samples, 100", InvalidInput);
    CHECK_THROWS_WITH_AS(with([](auto& o) { o.max_frames = 0; }),
                         "max_frames = 0: must be at least 1", InvalidInput);
    CHECK_THROWS_AS(with([](auto& o) { o.lowest_frequency = -1; }), InvalidInput);
    CHECK_THROWS_AS(with([](auto& o) { o.lowest_frequency = 1e9; }), InvalidInput);
    CHECK_THROWS_AS(with([](auto& o) { o.least_signal = 0; }), InvalidInput);
    CHECK_THROWS_AS(with([](auto& o) { o.max_iterations = 0; }), InvalidInput);
    CHECK_THROWS_WITH_AS(with([&](auto& o) {
                             o.gate = Gate{0, grid.time(7)};
                         }),
                         "samples to look at = 8: must be at least 16", InvalidInput);
    CHECK_THROWS_AS(with([](auto& o) { o.gate = Gate{1, 2}; }), InvalidInput);
    CHECK(SensorEstimate{}.status == SensorStatus::not_run);
    CHECK_FALSE(SensorEstimate{}.usable());
}
