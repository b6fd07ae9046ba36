#include "echosieve/condition/baseband.hpp"

#include <cstdint>
#include <limits>

#include "condition/lines.hpp"
#include "condition/reference/scipy_filters.hpp"
#include "support/check.hpp"

using namespace echosieve;
using test::line_of;
using test::settings_of;

namespace {

template <Real R, class T>
std::vector<std::complex<R>> baseband_of(const std::vector<T>& frame,
                                         const RecordingSettings& settings,
                                         const BasebandOptions& options = {}) {
    Basebander<R> basebander(settings, frame.size(), options);
    std::vector<std::complex<R>> out(basebander.grid().count);
    basebander.process(std::span<const T>(frame), std::span<std::complex<R>>(out));
    return out;
}

// Sums of up to 501 products, samples below 1 in size, taps' moduli adding up to less than 5.
template <Real R>
constexpr double sum_tolerance = 500 * test::epsilon<R>;

const std::pair<double, double> sensors[] = {{4e6, 1e6}, {5e6, 3e6}, {7.5e6, 4.5e6}};

}  // namespace

TEST_CASE_TEMPLATE("baseband is what mixing, filtering and decimating in turn give", R, float,
                   double) {
    const RecordingSettings settings = settings_of(5e6, 3e6);
    std::vector<double> frame;
    for (int n = 0; n < 700; ++n) {
        frame.push_back(std::fmod(n * n * 0.6180339887498949, 1.0) - 0.5);
    }
    const auto out = baseband_of<R>(frame, settings);
    REQUIRE(out.size() == std::size(test::baseband_line));
    for (std::size_t m = 0; m < out.size(); ++m) {
        const auto& row = test::baseband_line[m];
        CHECK_WITHIN(static_cast<std::complex<double>>(out[m]),
                     (std::complex<double>{row.real, row.imaginary}), sum_tolerance<R>);
    }
}

TEST_CASE("a real echo becomes the atom that the baseband grid samples") {
    for (const auto& [centre, bandwidth] : sensors) {
        CAPTURE(centre);
        const RecordingSettings settings = settings_of(centre, bandwidth);
        const std::size_t samples = 2435;
        // Off the sample grid, with a phase of its own.
        const Echo<Gabor<double>> echo{{1.7234567e-5, centre, bandwidth}, {0.6, -0.8}};
        const auto frame = line_of({echo}, settings.grid(samples));
        struct Case {
            BasebandOptions options;
            double tolerance;
        };
        // By default the low-pass takes the skirts beyond 1.1 bandwidths: the integral of the
        // Gaussian spectrum times the filter's missing gain is 1.5 % of the peak. With the cut-off
        // at 1.35 it is below the ripple.
        for (const auto& [options, tolerance] : {Case{{}, 0.016}, Case{{1.35, 3.6}, 0.004}}) {
            Basebander<double> basebander(settings, samples, options);
            const SamplingGrid grid = basebander.grid();
            CHECK(grid.start_time == settings.start_time);
            CHECK(grid.mixing_frequency == centre);
            CHECK(grid.sampling_rate >= options.rate * bandwidth);
            std::vector<std::complex<double>> out(grid.count);
            basebander.process(std::span<const double>(frame), std::span(out));
            std::vector<std::complex<double>> expected(grid.count, 0);
            add(echo, grid, std::span(expected));
            std::complex<double> projection = 0;
            double energy = 0;
            double worst = 0;
            for (std::size_t m = 0; m < grid.count; ++m) {
                worst = std::max(worst, std::abs(out[m] - expected[m]));
                projection += out[m] * std::conj(expected[m]);
                energy += std::norm(expected[m]);
            }
            CAPTURE(worst);
            CHECK(worst <= tolerance);
            // The filter is symmetric about the echo's own frequency: no phase, hence no delay.
            // 2e-4 rad is what the image at -2 f_m leaves through the stop band.
            CHECK_WITHIN(std::arg(projection), 0.0, 2e-4);
            // Weighed by the spectrum twice the lost skirts hardly count: 5e-4 and 8e-4.
            CHECK_WITHIN(std::abs(projection) / energy, 1.0, 1e-3);
        }
    }
}

TEST_CASE("an echo off the centre frequency keeps its frequency and phase") {
    const RecordingSettings settings = settings_of(4e6, 1e6);
    const Echo<Gabor<double>> echo{{1.7e-5, 4.2e6, 0.8e6}, {0, 2}};
    const auto frame = line_of({echo}, settings.grid(2435));
    Basebander<double> basebander(settings, frame.size(), {.cutoff = 1.6, .rate = 4});
    std::vector<std::complex<double>> out(basebander.grid().count);
    basebander.process(std::span<const double>(frame), std::span(out));
    std::vector<std::complex<double>> expected(out.size(), 0);
    add(echo, basebander.grid(), std::span(expected));
    for (std::size_t m = 0; m < out.size(); ++m) {
        CHECK_WITHIN(out[m], expected[m], 2 * 0.004);  // amplitude 2, ripple as above
    }
}

TEST_CASE("int16, float and double samples give the same baseband") {
    const RecordingSettings settings = settings_of(4e6, 1e6);
    RandomStream random(3);
    std::vector<std::int16_t> whole(900);
    std::vector<float> single;
    std::vector<double> twice;
    for (auto& x : whole) {
        x = static_cast<std::int16_t>(random.uniform(-8192.0, 8192.0));
        single.push_back(x);
        twice.push_back(x);
    }
    const auto reference = baseband_of<double>(twice, settings);
    CHECK(baseband_of<double>(whole, settings) == reference);
    CHECK(baseband_of<double>(single, settings) == reference);
    const auto in_float = baseband_of<float>(whole, settings);
    for (std::size_t m = 0; m < reference.size(); ++m) {
        CHECK_WITHIN(static_cast<std::complex<double>>(in_float[m]), reference[m],
                     8192 * sum_tolerance<float>);
    }
}

TEST_CASE("an offset of the samples is 53 dB down, or out of the band altogether") {
    for (const auto& [centre, bandwidth] : sensors) {
        const RecordingSettings settings = settings_of(centre, bandwidth);
        const std::vector<std::int16_t> frame(2435, 1000);
        const auto out = baseband_of<double>(frame, settings);
        const auto edge =
            static_cast<std::size_t>(2 / bandwidth * 3.6 * bandwidth) + 3;  // half the filter
        for (std::size_t m = edge; m + edge < out.size(); ++m) {
            // Twice, since an echo of amplitude 1000 would give 1000 by the factor 2.
            CHECK(std::abs(out[m]) <= 2000 * std::pow(10.0, -53.0 / 20));
        }
    }
}

TEST_CASE("baseband is linear and moves with the line") {
    const RecordingSettings settings = settings_of(4e6, 1e6);
    const SamplingGrid grid = settings.grid(1500);
    const Echo<Gabor<double>> echo{{1.5e-5, 4e6, 1e6}, {1, 0}};
    const double step = 34 / settings.sampling_rate;  // one baseband sample
    const auto here = baseband_of<double>(line_of({echo}, grid), settings);
    const auto later = baseband_of<double>(line_of({echo}, grid, step), settings);
    REQUIRE(Basebander<double>(settings, 1500).grid().step() == step);
    const auto turn = unit_phasor(-settings.sensor.centre_frequency * step);
    for (std::size_t m = 0; m + 1 < here.size(); ++m) {
        CHECK_WITHIN(later[m + 1], here[m] * turn, 1e-12);  // arrival times rounded, 4 MHz
    }
}

TEST_CASE("short frames work: shorter than the filter, one sample, none") {
    const RecordingSettings settings = settings_of(4e6, 1e6);
    for (const std::size_t samples :
         {std::size_t{1}, std::size_t{34}, std::size_t{35}, std::size_t{120}}) {
        std::vector<double> frame(samples, 0);
        frame[0] = 1;
        Basebander<double> basebander(settings, samples);
        CHECK(basebander.grid().count == (samples + 33) / 34);
        const auto out = baseband_of<double>(frame, settings);
        const Eigen::ArrayXd taps = low_pass_taps(501, 1.1e6, 125e6);
        for (std::size_t m = 0; m < out.size(); ++m) {
            // One sample of height 1 at t_0: the taps themselves, mixed at t_0.
            const auto expected = 2 * taps[250 - static_cast<Eigen::Index>(34 * m)] *
                                  unit_phasor(-4e6 * settings.start_time);
            CHECK_WITHIN(out[m], expected, 1e-14);
        }
    }
    CHECK(baseband_of<double>(std::vector<double>{}, settings).empty());
    const FrameMatrix<std::int16_t> none(0, 500);
    CHECK(to_baseband<float>(none.view(), settings).samples.rows() == 0);
}

TEST_CASE("the batch gives each frame what the stream gives") {
    const RecordingSettings settings = settings_of(5e6, 3e6);
    RandomStream random(4);
    FrameMatrix<float> frames(3, 400);
    for (std::size_t i = 0; i < 3; ++i) {
        for (auto& x : frames[i]) {
            x = random.normal<float>();
        }
    }
    const Baseband<float> batch = to_baseband<float>(frames.view(), settings);
    CHECK(batch.settings.sensor.bandwidth == 3e6);
    Basebander<float> stream(settings, 400);
    CHECK(batch.grid == stream.grid());
    std::vector<std::complex<float>> out(stream.grid().count);
    for (std::size_t i = 0; i < 3; ++i) {
        stream.process(frames.view()[i], std::span(out));
        for (std::size_t m = 0; m < out.size(); ++m) {
            CHECK(batch.samples(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(m)) ==
                  out[m]);
        }
    }
}

TEST_CASE_TEMPLATE("a NaN spoils the samples in the filter's reach and no later frame", R, float,
                   double) {
    const RecordingSettings settings = settings_of(4e6, 1e6);
    Basebander<R> basebander(settings, 2435);
    std::vector<R> frame(2435, 0);
    std::vector<std::complex<R>> out(basebander.grid().count);
    // At every place between two results, so that some NaN lies beside a window, in its registers.
    for (std::size_t n = 1200; n < 1200 + 34; ++n) {
        CAPTURE(n);
        frame[n] = std::numeric_limits<R>::quiet_NaN();
        basebander.process(std::span<const R>(frame), std::span(out));
        for (std::size_t m = 0; m < out.size(); ++m) {
            const double distance = std::abs(static_cast<double>(34 * m) - static_cast<double>(n));
            CHECK(std::isnan(out[m].real()) == (distance <= 250));
        }
        frame[n] = 0;
    }
    basebander.process(std::span<const R>(frame), std::span(out));
    for (const auto& y : out) {
        CHECK(y == std::complex<R>());
    }
}

TEST_CASE("decimation leaves the least rate asked for, and 1 where there is no room") {
    RecordingSettings settings = settings_of(4e6, 1e6);
    CHECK(Basebander<double>(settings, 100).grid().sampling_rate == 125e6 / 34);
    settings.sampling_rate = 10e6;
    settings.sensor = {3e6, 2.9e6};
    CHECK(Basebander<double>(settings, 100).grid().sampling_rate == 10e6);
}

TEST_CASE("baseband refuses invalid settings, options and sizes") {
    RecordingSettings settings = settings_of(4e6, 1e6);
    CHECK_THROWS_WITH_AS(Basebander<double>(settings, 10, {.cutoff = -1}),
                         "cutoff = -1: must be positive and finite [sensor bandwidths]",
                         InvalidInput);
    CHECK_THROWS_WITH_AS(Basebander<double>(settings, 10, {.cutoff = 2, .rate = 4}),
                         "rate = 4: must be finite and exceed twice the cutoff [sensor bandwidths]",
                         InvalidInput);
    CHECK_THROWS_AS(Basebander<double>(settings, 10, {.rate = std::nan("")}), InvalidInput);
    Basebander<double> basebander(settings, 100);
    std::vector<double> frame(99);
    std::vector<std::complex<double>> out(3);
    CHECK_THROWS_WITH_AS(basebander.process(std::span<const double>(frame), std::span(out)),
                         "samples in the frame = 99: must be 100", InvalidInput);
    frame.resize(100);
    CHECK_THROWS_WITH_AS(
        basebander.process(std::span<const double>(frame), std::span(out).first(2)),
        "size of the output = 2: must be 3", InvalidInput);
    for (const double bandwidth : {0.0, 1e-300}) {
        settings.sensor.bandwidth = bandwidth;
        CHECK_THROWS_AS(Basebander<double>(settings, 10), InvalidInput);
    }
}

TEST_CASE_TEMPLATE("any number of threads gives the same bits", R, float, double) {
    const RecordingSettings settings = settings_of(4e6, 1e6);
    RandomStream random(8);
    FrameMatrix<std::int16_t> frames(7, 900);
    for (std::size_t i = 0; i < 7; ++i) {
        for (auto& x : frames[i]) {
            x = static_cast<std::int16_t>(random.uniform(-8192.0, 8192.0));
        }
    }
    const Baseband<R> alone = to_baseband<R>(frames.view(), settings);
    for (const std::size_t threads : {std::size_t{2}, std::size_t{4}, std::size_t{20}}) {
        CAPTURE(threads);
        const Baseband<R> together = to_baseband<R>(frames.view(), settings, {}, threads);
        CHECK((together.samples == alone.samples).all());
    }
    CHECK_THROWS_AS(static_cast<void>(to_baseband<R>(frames.view(), settings, {}, 0)),
                    InvalidInput);
    const FrameMatrix<std::int16_t> none(0, 900);
    CHECK(to_baseband<R>(none.view(), settings, {}, 4).samples.rows() == 0);
}
