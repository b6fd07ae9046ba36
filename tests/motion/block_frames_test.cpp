#include "motion/follow/block_frames.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <vector>

#include "condition/lines.hpp"
#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr std::size_t samples = 800;  // at 40 MHz and 1540 m/s: 15 mm

// Echoes from 5 mm below the first sample on, gone (-60 dB) in the frames `lost`; ring-down of the
// same power as all the echoes in the first 2 mm of every frame; weak noise.
struct Made {
    FrameMatrix<float> frames;
    Baseband<double> baseband;
};

Made made_block(const std::vector<bool>& lost) {
    RecordingSettings settings = test::settings_of(4e6, 1e6);
    settings.sampling_rate = 40e6;
    const SamplingGrid grid = settings.grid(samples);
    RandomStream random(3);
    std::vector<Echo<Gabor<double>>> echoes;
    for (double depth = 5e-3; depth < 14e-3; depth += 0.1e-3) {
        const double real = random.normal();
        echoes.push_back(
            {{grid.start_time + settings.arrival(depth), 4e6, 1e6}, {real, random.normal()}});
    }
    const std::vector<double> line = test::line_of(echoes, grid);
    std::vector<double> ringing(samples, 0.0);
    add(Echo<Gabor<double>>{{grid.start_time + 1e-6, 4e6, 1e6}, {12, 0}}, grid,
        std::span<double>(ringing));
    Made made{FrameMatrix<float>(lost.size(), samples), {}};
    for (std::size_t i = 0; i < lost.size(); ++i) {
        for (std::size_t n = 0; n < samples; ++n) {
            made.frames[i][n] = static_cast<float>(line[n] * (lost[i] ? 1e-3 : 1) + ringing[n] +
                                                   0.01 * random.normal());
        }
    }
    made.baseband = to_baseband<double>(made.frames.view(), settings);
    return made;
}

// Contact from frame 200 on.
std::vector<bool> late_contact() {
    std::vector<bool> lost(300, false);
    std::fill(lost.begin(), lost.begin() + 200, true);
    return lost;
}

constexpr double dead_zone = 3e-3;

}  // namespace

TEST_CASE("an echo energy is the sum of squares below the dead zone") {
    Made made = made_block({false, true, false});
    const std::vector<double> energies = echo_energies(made.baseband, dead_zone);
    REQUIRE(energies.size() == 3);
    const double top = made.baseband.settings.depth(made.baseband.grid.start_time) + dead_zone;
    for (std::size_t i = 0; i < 3; ++i) {
        double sum = 0;
        for (std::size_t k = 0; k < made.baseband.grid.count; ++k) {
            const double depth =
                made.baseband.settings.depth(made.baseband.grid.time(static_cast<double>(k)));
            sum += depth >= top - 1e-9
                       ? std::norm(made.baseband.samples(static_cast<Eigen::Index>(i),
                                                         static_cast<Eigen::Index>(k)))
                       : 0.0;
        }
        CHECK_WITHIN_RELATIVE(energies[i], sum, 1e-12);
    }
    // The ring-down would hide the loss.
    CHECK(energies[1] < 1e-3 * energies[0]);
    CHECK(echo_energies(made.baseband, 0)[1] > 0.1 * echo_energies(made.baseband, 0)[0]);
    made.baseband.samples(2, 60) = std::numeric_limits<double>::quiet_NaN();
    CHECK(std::isnan(echo_energies(made.baseband, dead_zone)[2]));
}

TEST_CASE("the reference is the median of what good frames hold") {
    using enum FrameState;
    CHECK(reference_energy({1, 100, 3, 200, 2}, {good, dropped, good, clipped, good}) == 2);
    CHECK(reference_energy({std::nan(""), 5, 7, 6}, {good, good, good, good}) == 6);
    CHECK(reference_energy({1, 2}, {dropped, frozen}) == 0);
    CHECK(reference_energy({}, {}) == 0);
}

TEST_CASE("a block mostly out of contact is judged by the blocks before it") {
    const std::vector<bool> lost = late_contact();
    const Made made = made_block(lost);
    const std::vector<double> energies = echo_energies(made.baseband, dead_zone);
    const auto states_with = [&](double reference) {
        return check_block(made.frames.view(), made.baseband, energies, reference);
    };
    // By its own medians most of it would pass.
    const auto by_itself = check_frames(made.frames.view(), made.baseband);
    REQUIRE(by_itself[10] == FrameState::good);
    const std::vector<FrameState> states = states_with(energies[299]);
    for (std::size_t i = 0; i < lost.size(); ++i) {
        CAPTURE(i);
        CHECK(states[i] == (lost[i] ? FrameState::dropped : FrameState::good));
    }
    // A reference of another place, or of another gain: there is none, and all are checked.
    CHECK(states_with(1e6 * energies[299]) == by_itself);
    CHECK(states_with(0) == by_itself);
}

TEST_CASE("a short loss is found by the block's own median, and bad frames keep their state") {
    std::vector<bool> lost(100, false);
    std::fill(lost.begin() + 20, lost.begin() + 40, true);
    Made made = made_block(lost);
    std::copy(made.frames[60].begin(), made.frames[60].end(), made.frames[61].begin());
    made.baseband = to_baseband<double>(made.frames.view(), made.baseband.settings);
    const std::vector<double> energies = echo_energies(made.baseband, dead_zone);
    const std::vector<FrameState> states =
        check_block(made.frames.view(), made.baseband, energies, 0);
    for (std::size_t i = 0; i < lost.size(); ++i) {
        CAPTURE(i);
        CHECK(states[i] == (lost[i]   ? FrameState::dropped
                            : i == 61 ? FrameState::frozen
                                      : FrameState::good));
    }
    CHECK_THROWS_WITH_AS(
        static_cast<void>(check_block(made.frames.view(), made.baseband, {1.0, 2.0}, 0)),
        "number of energies = 2: must equal the frames, 100", InvalidInput);
}
