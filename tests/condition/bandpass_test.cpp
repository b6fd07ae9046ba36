#include "echosieve/condition/baseband.hpp"

#include <cstdint>
#include <numbers>

#include "condition/lines.hpp"
#include "support/check.hpp"

using namespace echosieve;
using test::line_of;
using test::settings_of;

namespace {

constexpr std::size_t samples = 2000;

template <Real R>
std::vector<std::complex<R>> analytic_of(const std::vector<double>& frame,
                                         const RecordingSettings& settings,
                                         const BandPassOptions& options = {}) {
    BandPass<R> filter(settings, frame.size(), options);
    std::vector<std::complex<R>> out(frame.size());
    filter.process(std::span<const double>(frame), std::span<std::complex<R>>(out));
    return out;
}

}  // namespace

TEST_CASE("the analytic signal of a real echo is the analytic atom") {
    for (const auto& [centre, bandwidth] : {std::pair{4e6, 1e6}, {5e6, 3e6}, {7.5e6, 4.5e6}}) {
        CAPTURE(centre);
        const RecordingSettings settings = settings_of(centre, bandwidth);
        const SamplingGrid grid = settings.grid(samples);
        const Echo<Gabor<double>> echo{{1.6123456e-5, centre, bandwidth}, {-0.8, 0.6}};
        const auto out = analytic_of<double>(line_of({echo}, grid), settings);
        std::vector<std::complex<double>> expected(samples, 0);
        add(echo, grid, std::span(expected));
        for (std::size_t n = 0; n < samples; ++n) {
            CHECK_WITHIN(out[n], expected[n], 0.016);  // the skirts, see baseband_test.cpp
        }
    }
}

TEST_CASE_TEMPLATE("real samples are the analytic ones' real part, whatever the sample type", R,
                   float, double) {
    const RecordingSettings settings = settings_of(5e6, 3e6);
    RandomStream random(1);
    FrameMatrix<std::int16_t> frames(2, 300);
    for (std::size_t i = 0; i < 2; ++i) {
        for (auto& x : frames[i]) {
            x = static_cast<std::int16_t>(random.uniform(-100.0, 100.0));
        }
    }
    const FrameMatrix<R> real = band_passed<R>(frames.view(), settings);
    REQUIRE(real.frames() == 2);
    REQUIRE(real.samples() == 300);
    BandPass<R> filter(settings, 300);
    CHECK(filter.grid() == settings.grid(300));
    std::vector<std::complex<R>> analytic(300);
    for (std::size_t i = 0; i < 2; ++i) {
        filter.process(frames.view()[i], std::span<std::complex<R>>(analytic));
        for (std::size_t n = 0; n < 300; ++n) {
            CHECK(real[i][n] == analytic[n].real());
        }
    }
}

TEST_CASE("tones: in the band 1 and a quarter turn apart, out of it 53 dB down") {
    const RecordingSettings settings = settings_of(4e6, 1e6);
    const SamplingGrid grid = settings.grid(samples);
    const double stop = std::pow(10.0, -53.0 / 20);
    for (const double f : {0.0, 1e6, 2.44e6, 3.5e6, 4e6, 4.6e6, 5.56e6, 9e6, 40e6, 62e6}) {
        CAPTURE(f);
        std::vector<double> frame(samples);
        for (std::size_t n = 0; n < samples; ++n) {
            frame[n] = std::cos(2 * std::numbers::pi * f * grid.time(static_cast<double>(n)));
        }
        const auto out = analytic_of<double>(frame, settings);
        for (std::size_t n = 300; n < samples - 300; n += 7) {
            if (std::abs(f - 4e6) <= 0.65e6) {
                const auto expected = unit_phasor(f * grid.time(static_cast<double>(n)));
                // Ripple, and the image through the stop band.
                CHECK_WITHIN(out[n], expected, 0.004 + stop);
            } else {
                CHECK(std::abs(out[n]) <= 2 * stop);  // both halves of a real tone at 0 Hz
            }
        }
    }
}

TEST_CASE("band-passing turns a line round when the line is turned round") {
    const RecordingSettings settings = settings_of(4e6, 1e6);
    RandomStream random(2);
    std::vector<double> frame(700);
    for (auto& x : frame) {
        x = random.normal();
    }
    const auto forward = analytic_of<double>(frame, settings);
    const auto backward = analytic_of<double>({frame.rbegin(), frame.rend()}, settings);
    for (std::size_t n = 0; n < frame.size(); ++n) {
        CHECK_WITHIN(backward[frame.size() - 1 - n], std::conj(forward[n]), 1e-13);  // zero phase
    }
}

TEST_CASE("the band-pass takes a frame shorter than its filter, one sample or none") {
    const RecordingSettings settings = settings_of(4e6, 1e6);
    CHECK(analytic_of<double>({}, settings).empty());
    const auto one = analytic_of<double>({3}, settings);
    CHECK_WITHIN(one[0], (std::complex<double>{6 * low_pass_taps(501, 1.1e6, 125e6)[250], 0}),
                 1e-15);
    CHECK(analytic_of<float>(std::vector<double>(20, 1), settings).size() == 20);
}

TEST_CASE("the band-pass refuses invalid settings, options and sizes") {
    RecordingSettings settings = settings_of(4e6, 1e6);
    CHECK_THROWS_WITH_AS(BandPass<float>(settings, 10, {.cutoff = 0}),
                         "cutoff = 0: must be positive and finite [sensor bandwidths]",
                         InvalidInput);
    CHECK_THROWS_AS(BandPass<float>(settings, 10, {.cutoff = std::nan("")}), InvalidInput);
    BandPass<double> filter(settings, 10);
    std::vector<double> frame(10);
    std::vector<double> out(10);
    CHECK_THROWS_WITH_AS(filter.process(std::span<const double>(frame).first(9), std::span(out)),
                         "samples in the frame = 9: must be 10", InvalidInput);
    CHECK_THROWS_WITH_AS(filter.process(std::span<const double>(frame), std::span(out).first(9)),
                         "size of the output = 9: must be 10", InvalidInput);
    settings.sampling_rate = 8e6;
    CHECK_THROWS_AS(BandPass<float>(settings, 10), InvalidInput);
}
